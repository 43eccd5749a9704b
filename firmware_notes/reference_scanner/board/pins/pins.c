/* Points straight on the chip's pins, through a resistor each. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

#include "board.h"
#include "limits.h"
#include "points.h"
#include <table.h> /* the kind's own */

static const struct {
    uint16_t pin;
    uint8_t mask;
} pin_of[POINTS] PROGMEM = {
#define P(port, bit) {_SFR_ADDR(PIN##port), _BV(bit)},
    EACH_POINT(P)
#undef P
};

void board_points_start(void) {
    board_release();
}

uint8_t board_fault(void) {
    return 0;
}

void board_release(void) {
    /* Drivers first: a pin that is still an output must not be told to go high. */
    DDRA = 0;
    DDRC = 0;
    DDRL = 0;
    DDRF = 0;
    DDRK = 0;
    DDRB &= (uint8_t)~MASK_B;
    DDRD &= (uint8_t)~MASK_D;
    DDRE &= (uint8_t)~MASK_E;
    DDRG &= (uint8_t)~MASK_G;
    DDRH &= (uint8_t)~MASK_H;
    DDRJ &= (uint8_t)~MASK_J;
    PORTA = 0;
    PORTC = 0;
    PORTL = 0;
    PORTF = 0;
    PORTK = 0;
    PORTB &= (uint8_t)~MASK_B;
    PORTD &= (uint8_t)~MASK_D;
    PORTE &= (uint8_t)~MASK_E;
    PORTG &= (uint8_t)~MASK_G;
    PORTH &= (uint8_t)~MASK_H;
    PORTJ &= (uint8_t)~MASK_J;
}

#define PUT(reg, mask, bits) reg = (uint8_t)((reg & (uint8_t) ~(mask)) | (bits))

void board_apply(const points_t *driven, const points_t *pulled) {
    /* No PORT bit is set where DDR is, before, after or on the way: pull-ups off, drivers, pull-ups on. What
     * stays pulled up stays so, where it was no output. */
    PORTA &= pulled->byte[0];
    PORTC &= pulled->byte[1];
    PORTL &= pulled->byte[2];
    PORTF &= pulled->byte[3];
    PORTK &= pulled->byte[4];
    PORTB &= (uint8_t)(AT_B(pulled) | (uint8_t)~MASK_B);
    PORTD &= (uint8_t)(AT_D(pulled) | (uint8_t)~MASK_D);
    PORTE &= (uint8_t)(AT_E(pulled) | (uint8_t)~MASK_E);
    PORTG &= (uint8_t)(AT_G(pulled) | (uint8_t)~MASK_G);
    PORTH &= (uint8_t)(AT_H(pulled) | (uint8_t)~MASK_H);
    PORTJ &= (uint8_t)(AT_J(pulled) | (uint8_t)~MASK_J);
    DDRA = driven->byte[0];
    DDRC = driven->byte[1];
    DDRL = driven->byte[2];
    DDRF = driven->byte[3];
    DDRK = driven->byte[4];
    PUT(DDRB, MASK_B, AT_B(driven));
    PUT(DDRD, MASK_D, AT_D(driven));
    PUT(DDRE, MASK_E, AT_E(driven));
    PUT(DDRG, MASK_G, AT_G(driven));
    PUT(DDRH, MASK_H, AT_H(driven));
    PUT(DDRJ, MASK_J, AT_J(driven));
    PORTA = pulled->byte[0];
    PORTC = pulled->byte[1];
    PORTL = pulled->byte[2];
    PORTF = pulled->byte[3];
    PORTK = pulled->byte[4];
    PUT(PORTB, MASK_B, AT_B(pulled));
    PUT(PORTD, MASK_D, AT_D(pulled));
    PUT(PORTE, MASK_E, AT_E(pulled));
    PUT(PORTG, MASK_G, AT_G(pulled));
    PUT(PORTH, MASK_H, AT_H(pulled));
    PUT(PORTJ, MASK_J, AT_J(pulled));
}

void board_read(points_t *low) {
    /* All ports first, within 30 cycles, then what belongs where. */
    uint8_t a = PINA;
    uint8_t b = PINB;
    uint8_t c = PINC;
    uint8_t d = PIND;
    uint8_t e = PINE;
    uint8_t f = PINF;
    uint8_t g = PING;
    uint8_t h = PINH;
    uint8_t j = PINJ;
    uint8_t k = PINK;
    uint8_t l = PINL;
    low->byte[0] = (uint8_t)~a;
    low->byte[1] = (uint8_t)~c;
    low->byte[2] = (uint8_t)~l;
    low->byte[3] = (uint8_t)~f;
    low->byte[4] = (uint8_t)~k;
    PUT_BANKS(low, b, d, e, g, h, j);
}

/* Release, pull up, and poll: `wait` cycles later than at once. The loop is POLL_CYCLES = 8: 2 + 1 + 1 + 2
 * + 2. */
#define RAMP(wait)                                                                                           \
    case wait:                                                                                               \
        __asm__ volatile("    std Z+1, %[ddr]\n"                                                             \
                         "    std Z+2, %[port]\n"                                                            \
                         "    .rept " #wait "\n"                                                             \
                         "    nop\n"                                                                         \
                         "    .endr\n"                                                                       \
                         "1:  ld %[seen], Z\n"                                                               \
                         "    and %[seen], %[mask]\n"                                                        \
                         "    brne 2f\n"                                                                     \
                         "    sbiw %[left], 1\n"                                                             \
                         "    brne 1b\n"                                                                     \
                         "2:\n"                                                                              \
                         : [left] "+w"(left), [seen] "=&r"(seen)                                             \
                         : [ddr] "r"(ddr), [port] "r"(port), [mask] "r"(mask), "z"(pin)                      \
                         : "memory");                                                                        \
        break;

uint16_t board_rise(point_t index, uint8_t phase) {
    volatile uint8_t *pin = (volatile uint8_t *)pgm_read_word(&pin_of[index].pin);
    uint8_t mask = pgm_read_byte(&pin_of[index].mask);
    uint8_t flags = SREG;
    cli(); /* at most 2 ms, MOST_POLLS polls */
    uint8_t ddr = (uint8_t)(pin[1] & ~mask);
    uint8_t port = pin[2] | mask;
    uint16_t left = MOST_POLLS;
    uint8_t seen;
    switch (phase) {
        RAMP(0)
        RAMP(1)
        RAMP(2)
        RAMP(3)
        RAMP(4)
        RAMP(5)
        RAMP(6)
    default:
        RAMP(7)
    }
    pin[2] = (uint8_t)(pin[2] & ~mask);
    pin[1] = pin[1] | mask;
    SREG = flags;
    uint16_t polls = (uint16_t)(MOST_POLLS - left + 1U);
    return polls > MOST_POLLS ? MOST_POLLS : polls;
}

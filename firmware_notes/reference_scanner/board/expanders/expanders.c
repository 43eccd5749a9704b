/* Points on SPI expanders of the common 16-bit kind (MCP23S17 and those with its registers).
 *
 * Chip n's select is the n-th bit of ports A, C, L and K; the address pins of all are at 0 V. PB4 (10) is the
 * reset line of all, with a resistor down: while the program does not hold it up, no expander drives
 * anything. A point is driven by making it an output, its latch being 0 for ever; it is released by making it
 * an input.
 *
 * Each reading of a chip is followed by one of a mark that only this program has put there: a chip that has
 * lost its supply for a moment, its select or its data line shows none. Then the reset line goes down, and
 * stays so until the next use, which sets up all chips anew. */
#include <avr/io.h>
#include <string.h>
#include <util/delay.h>

#include "board.h"
#include "limits.h"
#include "spi.h"

#define WRITE 0x40U
#define READ 0x41U
/* Registers with IOCON.BANK = 0; a transfer goes on to the next one. */
#define IODIR 0x00U
#define DEFVAL 0x06U
#define GPPU 0x0CU
#define GPIO 0x12U

#define RESET_LINE _BV(4) /* of port B */
/* With more chips MISO has buffers, which take their time. */
#define CHIPS_AT_8MHZ 8U

uint16_t points_here;
uint16_t watch_tick_us;
static uint8_t chips;
static uint8_t lost; /* the number of a chip that does not answer, from 1; 0 for none */
static uint8_t gap;  /* the first chip missing before others; 0 for none */
static bool drives[CHIPS];

static volatile uint8_t *const port_of[CHIPS / 8U] = {&PORTA, &PORTC, &PORTL, &PORTK};

/* Differs from what a line at rest shows, and from its neighbours', so that joined selects are found. */
static uint8_t mark_of(uint8_t chip) {
    return (uint8_t)(0x5AU ^ chip);
}

static void select_all(void) {
    PORTA = 0;
    PORTC = 0;
    PORTL = 0;
    PORTK = 0;
}

static void select_none(void) {
    PORTA = 0xFF;
    PORTC = 0xFF;
    PORTL = 0xFF;
    PORTK = 0xFF;
}

/* To every chip that there is: one and the next register. */
static void tell_all(uint8_t reg, uint8_t a, uint8_t b) {
    select_all();
    (void)spi_byte(WRITE);
    (void)spi_byte(reg);
    (void)spi_byte(a);
    (void)spi_byte(b);
    select_none();
}

SPI_INLINE uint8_t mark_at(volatile uint8_t *port, uint8_t mask) {
    spi_select(port, mask);
    (void)spi_byte(READ);
    (void)spi_byte(DEFVAL);
    uint8_t mark = spi_byte(0);
    spi_deselect(port, mask);
    return mark;
}

/* Its mark is there: it has its supply, its select and its data lines, and has had them since it was set up.
 */
static bool answers(uint8_t chip) {
    return mark_at(port_of[chip >> 3], (uint8_t)(1U << (chip & 7U))) == mark_of(chip);
}

/* All chips from their reset on: inputs, pulled up, marked. */
static void set_up(void) {
    PORTB &= (uint8_t)~RESET_LINE;
    _delay_us(5.0); /* 1 at the least */
    PORTB |= RESET_LINE;
    _delay_us(5.0);
    memset(drives, 0, sizeof drives);
    tell_all(GPPU, 0xFF, 0xFF);
    for (uint8_t chip = 0; chip < CHIPS; chip++) {
        volatile uint8_t *port = port_of[chip >> 3];
        uint8_t mask = (uint8_t)(1U << (chip & 7U));
        spi_select(port, mask);
        (void)spi_byte(WRITE);
        (void)spi_byte(DEFVAL);
        (void)spi_byte(mark_of(chip));
        spi_deselect(port, mask);
    }
}

static void lose(uint8_t number) {
    PORTB &= (uint8_t)~RESET_LINE;
    lost = number;
}

static void set_up_anew(void) {
    set_up();
    lost = 0;
    for (uint8_t chip = 0; chip < chips && lost == 0; chip++) {
        if (!answers(chip)) {
            lose((uint8_t)(chip + 1U));
        }
    }
    if (gap != 0) {
        lose(gap);
    }
}

static void find(void) {
    set_up();
    for (uint8_t chip = 0; chip < CHIPS; chip++) {
        bool there = answers(chip);
        if (there && chip == chips) {
            chips++;
        } else if (there && gap == 0) {
            gap = (uint8_t)(chips + 1U);
        }
    }
    points_here = (uint16_t)(chips * CHIP_POINTS);
    watch_tick_us = (uint16_t)(80U + chips * (chips > CHIPS_AT_8MHZ ? 32U : 16U));
}

void board_points_start(void) {
    if (points_here == 0) {
        select_none();
        DDRA = 0xFF;
        DDRC = 0xFF;
        DDRL = 0xFF;
        DDRK = 0xFF;
        DDRB |= RESET_LINE;
        spi_start(SPI_MODE0 | SPI_4MHZ);
        find();
        if (chips <= CHIPS_AT_8MHZ) {
            spi_clock(SPI_MODE0 | SPI_8MHZ);
        }
    }
    set_up_anew();
    if (chips == 0) {
        lose(1);
    }
}

uint8_t board_fault(void) {
    return lost;
}

void board_release(void) {
    tell_all(IODIR, 0xFF, 0xFF);
    memset(drives, 0, chips);
}

void board_apply(const points_t *driven, const points_t *pulled) {
    (void)pulled;
    if (lost != 0) {
        set_up_anew();
    }
    const uint8_t *byte = driven->byte;
    uint8_t left = lost == 0 ? chips : 0U;
    bool *drove = drives;
    for (uint8_t bank = 0; left != 0; bank++) {
        volatile uint8_t *port = port_of[bank];
        for (uint8_t mask = 1; mask != 0 && left != 0; mask = (uint8_t)(mask << 1), left--, drove++) {
            uint8_t a = *byte++;
            uint8_t b = *byte++;
            bool now = (a | b) != 0;
            if (now || *drove) {
                spi_select(port, mask);
                (void)spi_byte(WRITE);
                (void)spi_byte(IODIR);
                (void)spi_byte((uint8_t)~a);
                (void)spi_byte((uint8_t)~b);
                spi_deselect(port, mask);
                *drove = now;
            }
        }
    }
}

void board_read(points_t *low) {
    uint8_t *byte = low->byte;
    uint8_t chip = 0;
    for (uint8_t bank = 0; chip < chips && lost == 0; bank++) {
        volatile uint8_t *port = port_of[bank];
        for (uint8_t mask = 1; mask != 0 && chip < chips; mask = (uint8_t)(mask << 1)) {
            spi_select(port, mask);
            (void)spi_byte(READ);
            (void)spi_byte(GPIO);
            *byte++ = (uint8_t)~spi_byte(0);
            *byte++ = (uint8_t)~spi_byte(0);
            spi_deselect(port, mask);
            bool there = mark_at(port, mask) == mark_of(chip);
            chip++;
            if (!there) {
                lose(chip);
                return;
            }
        }
    }
}

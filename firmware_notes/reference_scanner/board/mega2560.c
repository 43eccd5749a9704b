/* The board layer for an ATmega2560 at 16 MHz, whatever its points are. Timer 1 keeps time, timer 3 ticks for
 * a watch, UART 0 is the link. The points are a folder of their own beside this file. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "board.h"
#include "limits.h"
#include "link.h"
#include "settings.h"
#include "watch.h"

#define RING 256U /* indexes of one byte wrap by themselves */

/* --- time --- */

static volatile uint32_t laps; /* of timer 1: 32 768 us each */

ISR(TIMER1_OVF_vect) {
    laps++;
}

void board_stamp(stamp_t *now) {
    uint8_t flags = SREG;
    cli();
    now->ticks = TCNT1;
    now->laps = laps;
    if ((TIFR1 & _BV(TOV1)) && now->ticks < 0x8000U) {
        now->laps++;
    }
    SREG = flags;
}

uint64_t board_stamp_us(const stamp_t *then) {
    return ((uint64_t)then->laps << 15) + (then->ticks >> 1);
}

uint64_t board_us(void) {
    stamp_t now;
    board_stamp(&now);
    return board_stamp_us(&now);
}

void board_kick(void) {
    wdt_reset();
}

/* Half microseconds, for what is shorter than a lap. */
static uint16_t ticks_now(void) {
    uint8_t flags = SREG;
    cli(); /* an interrupt that reads the timer would change the half that waits for us */
    uint16_t ticks = TCNT1;
    SREG = flags;
    return ticks;
}

void board_wait_us(uint32_t us) {
    while (us > 0) {
        uint16_t part = us > 10000U ? 10000U : (uint16_t)us;
        uint16_t since = ticks_now();
        while ((uint16_t)(ticks_now() - since) <= 2U * part) {
            wdt_reset();
        }
        us -= part;
    }
}

/* --- the watch's tick --- */

ISR(TIMER3_COMPA_vect) {
#if WATCH_NESTS
    TIMSK3 = 0;
    sei();
    watch_tick();
    cli();
    TIMSK3 = _BV(OCIE3A);
#else
    watch_tick();
#endif
}

void board_ticks(bool on) {
    TIMSK3 = 0;
    if (on) {
        TCCR3A = 0;
        TCCR3B = _BV(WGM32) | _BV(CS30);
        OCR3A = (uint16_t)(WATCH_TICK_US * (F_CPU / 1000000UL) - 1U);
        TCNT3 = 0;
        TIFR3 = _BV(OCF3A);
        TIMSK3 = _BV(OCIE3A);
    } else {
        TCCR3B = 0;
    }
}

static uint8_t locked_flags;

void board_lock(void) {
    uint8_t flags = SREG;
    cli();
    locked_flags = flags;
}

void board_unlock(void) {
    SREG = locked_flags;
}

/* --- the line --- */

static volatile uint8_t ring[RING];
static volatile uint8_t ring_in;
static volatile uint8_t ring_out;
static const char *volatile sending;
static volatile uint16_t send_left;
static volatile bool send_busy;

ISR(USART0_RX_vect) {
    uint8_t status = UCSR0A;
    uint8_t byte = UDR0;
    uint8_t next = (uint8_t)(ring_in + 1U);
    /* A byte with a framing error becomes one that no line may hold, so that its line is dropped. */
    if (status & _BV(FE0)) {
        byte = 0;
    }
    if (next != ring_out) {
        ring[ring_in] = byte;
        ring_in = next;
    }
}

ISR(USART0_UDRE_vect) {
    if (send_left > 0) {
        UDR0 = (uint8_t)*sending;
        sending++;
        send_left--;
    }
    if (send_left == 0) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    }
}

ISR(USART0_TX_vect) {
    if (send_left == 0) {
        send_busy = false;
    }
}

int16_t board_get(void) {
    if (ring_in == ring_out) {
        return -1;
    }
    uint8_t byte = ring[ring_out];
    ring_out++;
    return byte;
}

uint16_t board_waiting(void) {
    return (uint8_t)(ring_in - ring_out);
}

void board_send(const char *data, uint16_t length) {
    uint8_t flags = SREG;
    cli();
    sending = data;
    send_left = length;
    send_busy = true;
    UCSR0A |= _BV(TXC0); /* cleared by a one */
    UCSR0B |= _BV(UDRIE0);
    SREG = flags;
}

bool board_sending(void) {
    return send_busy;
}

/* Double speed: one bit is 8 (UBRR + 1) cycles. */
static uint16_t divisor(uint32_t rate) {
    return (uint16_t)((F_CPU / 8UL + rate / 2UL) / rate);
}

bool board_can_rate(uint32_t rate) {
    uint16_t by = divisor(rate);
    uint32_t made = F_CPU / 8UL / by;
    uint32_t off = made > rate ? made - rate : rate - made;
    return by >= 1U && by <= 4096U && off * 40UL <= rate;
}

void board_rate(uint32_t rate) {
    UBRR0 = (uint16_t)(divisor(rate) - 1U);
}

/* --- settings --- */

uint8_t board_eeprom_read(uint16_t at) {
    return eeprom_read_byte((const uint8_t *)at);
}

void board_eeprom_write(uint16_t at, uint8_t value) {
    wdt_reset();
    eeprom_update_byte((uint8_t *)at, value);
}

int main(void) {
    wdt_enable(WDTO_1S);
    board_points_start();
    ACSR = _BV(ACD); /* no comparator: its input is a point */
    TCCR1B = _BV(CS11);
    TIMSK1 = _BV(TOIE1);
    UCSR0A = _BV(U2X0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0) | _BV(TXCIE0);
    board_rate(FIRST_RATE);
    SMCR = 0; /* sleep is idle: everything but the processor runs on */
    settings_load();
    sei();
    link_power_on();
    for (;;) {
        wdt_reset();
        link_run();
        cli();
        if (link_idle()) {
            sleep_enable();
            sei();
            sleep_cpu();
            sleep_disable();
        }
        sei();
    }
}

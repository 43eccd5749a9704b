/* What reads ohms: pins that drive high as well, a converter and a chain of shift registers on the SPI. */
#include <avr/io.h>

#include "board.h"
#include "limits.h"
#include "points.h"
#include "spi.h"
#include "table.h"

#define CONVERTER _BV(0)
#define DATA_IN _BV(3)
#define LATCH _BV(4)
/* High, by a resistor as well, turns the registers' outputs off, and so every multiplexer. */
#define TAPS_OFF _BV(5)

/* What comes back from the end of the chain passes a resistor: slow enough for it. */
#define TAPS_CLOCK (SPI_MODE0 | SPI_1MHZ)
#define CONVERTER_CLOCK (SPI_MODE1 | SPI_1MHZ)

void board_taps_start(void) {
    PORTB |= CONVERTER | LATCH | TAPS_OFF;
    DDRB |= CONVERTER | LATCH | TAPS_OFF;
    spi_start(TAPS_CLOCK);
}

void board_force(const points_t *high, const points_t *low) {
    board_release();
    PORTA = high->byte[0];
    PORTC = high->byte[1];
    PORTL = high->byte[2];
    PORTF = high->byte[3];
    PORTK = high->byte[4];
    PORTD |= AT_D(high);
    PORTE |= AT_E(high);
    PORTG |= AT_G(high);
    PORTH |= AT_H(high);
    PORTJ |= AT_J(high);
    DDRA = high->byte[0] | low->byte[0];
    DDRC = high->byte[1] | low->byte[1];
    DDRL = high->byte[2] | low->byte[2];
    DDRF = high->byte[3] | low->byte[3];
    DDRK = high->byte[4] | low->byte[4];
    DDRD |= AT_D(high) | AT_D(low);
    DDRE |= AT_E(high) | AT_E(low);
    DDRG |= AT_G(high) | AT_G(low);
    DDRH |= AT_H(high) | AT_H(low);
    DDRJ |= AT_J(high) | AT_J(low);
}

void board_converter_select(bool on) {
    if (on) {
        spi_clock(CONVERTER_CLOCK);
        spi_select(&PORTB, CONVERTER);
    } else {
        spi_deselect(&PORTB, CONVERTER);
    }
}

uint8_t board_converter_byte(uint8_t out) {
    return spi_byte(out);
}

bool board_converter_ready(void) {
    return (PINB & DATA_IN) == 0;
}

void board_taps(const uint8_t *out, uint8_t *back, uint8_t count) {
    spi_clock(TAPS_CLOCK);
    spi_select(&PORTB, LATCH);
    for (uint8_t i = 0; i < count; i++) {
        back[i] = spi_byte(out[i]);
    }
    spi_deselect(&PORTB, LATCH);
    PORTB &= (uint8_t)~TAPS_OFF;
}

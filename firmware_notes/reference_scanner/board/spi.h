/* Bytes over the chip's SPI as master: SCK is PB1 (52 on the board), MOSI PB2 (51), MISO PB3 (50). PB0 (53)
 * has to be an output, or the chip stops being master when it goes low; it may be a chip select.
 *
 * A chip select is given as a port and a mask of its bits, `spi_select(&PORTA, _BV(3))`: low from then to
 * spi_deselect with the same two. Several bits select several chips at once, for what all of them may hear. A
 * select's pin is made an output, high, by its owner, once and before spi_start. How a chip wants its clock
 * is given once for all that follows by spi_clock, and may change between one chip and the next.
 *
 * Nothing here waits for anything but the byte's own 8 clocks, so no chip can hold the program up. Whoever
 * uses it in an interrupt keeps it to interrupts as long as that one may come. */
#ifndef SPI_H
#define SPI_H

#include <avr/io.h>
#include <stdint.h>

/* SPCR's bits of a mode (CPOL, CPHA) and SPCR's and SPSR's of a rate, in one number: the low byte is SPCR. */
typedef uint16_t spi_clock_t;
#define SPI_MODE0 0U
#define SPI_MODE1 ((spi_clock_t)_BV(CPHA))
#define SPI_MODE2 ((spi_clock_t)_BV(CPOL))
#define SPI_MODE3 ((spi_clock_t)(_BV(CPOL) | _BV(CPHA)))
#define SPI_8MHZ ((spi_clock_t)(_BV(SPI2X) << 8))
#define SPI_4MHZ 0U
#define SPI_2MHZ ((spi_clock_t)((_BV(SPI2X) << 8) | _BV(SPR0)))
#define SPI_1MHZ ((spi_clock_t)_BV(SPR0))

/* A call costs as much as a byte: the compiler is told to write these out. */
#define SPI_INLINE static inline __attribute__((always_inline))

static inline void spi_clock(spi_clock_t clock) {
    SPCR = (uint8_t)(_BV(SPE) | _BV(MSTR) | (clock & 0xFFU));
    SPSR = (uint8_t)(clock >> 8);
}

/* Make the pins what they have to be. PB0 is left as it is where it is an output already. */
static inline void spi_start(spi_clock_t clock) {
    if (!(DDRB & _BV(0))) {
        PORTB |= _BV(0);
        DDRB |= _BV(0);
    }
    DDRB |= _BV(1) | _BV(2);
    spi_clock(clock);
}

SPI_INLINE void spi_select(volatile uint8_t *port, uint8_t mask) {
    *port = (uint8_t)(*port & (uint8_t)~mask);
}

SPI_INLINE void spi_deselect(volatile uint8_t *port, uint8_t mask) {
    *port = (uint8_t)(*port | mask);
}

/* Send one byte and return the one that came meanwhile. */
SPI_INLINE uint8_t spi_byte(uint8_t out) {
    SPDR = out;
    while (!(SPSR & _BV(SPIF))) {
    }
    return SPDR;
}

#endif

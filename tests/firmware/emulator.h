/* What the parts of the emulator share. */
#ifndef EMULATOR_H
#define EMULATOR_H

#include <stdbool.h>
#include <stdint.h>

#include <simavr/sim_avr.h>

/* A device on SPI. `what` is one of these; `value` the byte that comes, or at a select the clock's mode, 0
 * to 3. Returns the byte that goes back, -1 where the device leaves MISO alone; what is returned for others
 * counts not. */
enum { SPI_SELECTED, SPI_BYTE, SPI_DESELECTED };
typedef int (*spi_device_t)(void *self, int what, int value);

void spi_power_on(avr_t *avr);
int emulator_spi_attach(int ddr, int bit, spi_device_t call, void *self);
/* A port's register was written: selects may have changed. */
void spi_pins_changed(avr_t *avr);

/* The same for expanders' reset line; and no expanders any more. */
void expanders_pins_changed(avr_t *avr);
void expanders_off(void);

#endif

/* Points on SPI expanders, sixteen to a chip: how many there may be, and promises that follow from the data
 * sheet's limits of the expander.
 *
 * The derivation stands in ../../expanders.md; tests/firmware/test_expander_promises.py works it out anew. */
#ifndef KIND_H
#define KIND_H

#include <stdint.h>

#define CHIPS 32U
#define CHIP_POINTS 16U
#define POINTS (CHIPS * CHIP_POINTS)
/* Those of the chips that were found at power-on. */
#define POINTS_HERE points_here
typedef uint16_t point_t;
extern uint16_t points_here;
/* All are always pulled up: it takes no byte on SPI. */
#define PULLS POINTS

/* The contract asks for 2 * 512 / 4 + 48 = 304 at least. */
#define LINE 1024U
#define WATCH_SETS 8U
#define QUEUED_EVENTS 8U
#define WATCH_TICK_US watch_tick_us
#define WATCH_NESTS 1
extern uint16_t watch_tick_us;
#define RISES 0
/* Whether converter and multiplexers may be there. */
#define TAPPED 0
#define FAULT_STEP 1000U

#define SENSE_OHM 8100
#define CLEAR_OHM 590000
#define DRIVER_OHM 550
#define TEST_AMPERE "0.012"
#define READING_MS "20" /* it takes none */

#endif

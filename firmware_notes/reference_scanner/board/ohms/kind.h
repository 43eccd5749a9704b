/* Points on the chip's own pins, less those of the SPI, with converter and multiplexers that read ohms.
 *
 * SENSE, CLEAR and DRIVR are those of points on pins: see ../../sense_and_clear.md, and ../../ohms.md for
 * what the multiplexers leak. */
#ifndef KIND_H
#define KIND_H

#include <stdint.h>

#define POINTS 56U
#define POINTS_HERE POINTS
typedef uint8_t point_t;
#define PULLS 4U

/* Bytes, LF included, in both directions. The contract asks for 2 * POINTS / 4 + 48 = 76 at least. */
#define LINE 352U
#define WATCH_SETS 16U
#define QUEUED_EVENTS 16U
#define WATCH_TICK_US 60U
#define WATCH_NESTS 0
#define RISES 1
#define FAULT_STEP 100U
/* 5.25 V over two protection resistors of 950 ohm. */
#define TEST_AMPERE "0.0028"
/* The longest reading of ohms, ms. One of farads may take 3 s: a host that asks again meanwhile is answered
 * once it is done. */
#define READING_MS "400"

/* Converter and multiplexers may be there: so many boards of sixteen taps. */
#define TAPPED 1
#define TAP_BOARDS ((POINTS + 15U) / 16U)

#define SENSE_OHM 6800
#define CLEAR_OHM 240000
#define DRIVER_OHM 1095

#endif

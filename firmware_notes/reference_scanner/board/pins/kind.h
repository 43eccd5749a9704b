/* Points on the chip's own pins: how many, and promises that follow from the data sheet's limits.
 *
 * The derivation of the promises stands in ../../sense_and_clear.md; tests/firmware/test_promises.py works
 * them out anew and holds these figures against it. */
#ifndef KIND_H
#define KIND_H

#include <stdint.h>

#define POINTS 64U
/* How many of them there are, and what numbers one. */
#define POINTS_HERE POINTS
typedef uint8_t point_t;
/* Points pulled up in one moment: half a port. */
#define PULLS 4U

/* Bytes, LF included, in both directions. The contract asks for 2 * POINTS / 4 + 48 = 80 at least. */
#define LINE 352U
#define WATCH_SETS 16U
#define QUEUED_EVENTS 16U
/* A watch reads once in so long; whether the interrupt that does it lets others in. */
#define WATCH_TICK_US 60U
#define WATCH_NESTS 0
/* Whether a point's rise can be timed, which is how capacitance is read. */
#define RISES 1
/* Whether converter and multiplexers may be there. */
#define TAPPED 0
/* Self-test codes: a point's number beyond a multiple of this. */
#define FAULT_STEP 100U
/* Largest test current, A, for SYST:CAP?. */
#define TEST_AMPERE "0.006"
/* The longest reading, ms: capacitance at its most. */
#define READING_MS "3200"

#define SENSE_OHM 6800
#define CLEAR_OHM 240000
#define DRIVER_OHM 1095

#endif

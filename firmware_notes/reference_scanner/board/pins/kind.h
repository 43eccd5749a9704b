/* Points on the chip's own pins: how many, and promises that follow from the data sheet's limits.
 *
 * The derivation of the promises stands in ../../sense_and_clear.md; tests/firmware/test_promises.py works
 * them out anew and holds these figures against it. */
#ifndef KIND_H
#define KIND_H

#define POINTS 64U
/* Points pulled up in one moment: half a port. */
#define PULLS 4U

/* Bytes, LF included, in both directions. The contract asks for 2 * POINTS / 4 + 48 = 80 at least. */
#define LINE 352U
#define WATCH_SETS 16U
#define QUEUED_EVENTS 16U
#define WATCH_TICK_US 60U

#define SENSE_OHM 6800
#define CLEAR_OHM 240000
#define DRIVER_OHM 1095

#endif

/* A 24-bit delta-sigma converter with four inputs and an amplifier of 1 to 128, on SPI.
 *
 * Inputs 0, 1 and 2 are the lines X, Y and Z of the taps. Readings are shares of its own supply, which is the
 * pins' as well: what the supply does drops out. */
#ifndef CONVERTER_H
#define CONVERTER_H

#include <stdbool.h>

/* What is read, as the converter's own input switch numbers it. */
typedef enum {
    READ_X_Y = 0,
    READ_X_Z = 1,
    READ_Y_Z = 3,
    READ_X = 8, /* against 0 V */
    READ_Y = 9,
    READ_Z = 10,
    READ_SUPPLY = 13, /* a quarter of it, as a share of the converter's own 2.048 V */
    READ_SHORTED = 14,
} input_t;

/* Readings a second; only the slowest leaves out 50 and 60 Hz. */
typedef enum { PACE_20 = 0, PACE_90 = 2, PACE_330 = 4 } pace_t;

/* Amplification is a power of two, up to this. From 8 on inputs must stay a volt off both supplies. */
#define MOST_GAIN 7U
/* A share that no reading has: it was over range. */
#define SHARE_OVER 2.0F

/* Whether there is one, reset: it keeps what is written to it, and reads shorted inputs as nothing. */
bool converter_find(void);
/* Read once; false where it gave no reading in time, or does not hold its settings. */
bool converter_read(input_t input, uint8_t gain, pace_t pace, float *share);

#endif

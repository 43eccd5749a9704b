/* Sizes, and times of the scanner link. What differs from one kind of scanner to another, its promises among
 * them, stands in the kind's own folder. */
#ifndef LIMITS_H
#define LIMITS_H

#include "kind.h"

#define SET_BYTES (POINTS / 8U)
#define SET_BYTES_HERE ((uint8_t)(POINTS_HERE / 8U))
#define PHASES (POINTS / PULLS)

#define PLAIN_FRAME 1U
#define CHECKED_FRAME 13U
/* `#H` and the hex digits of one set, of all points that there may be and of those that there are. */
#define SET_TEXT (POINTS / 4U + 2U)
#define SET_TEXT_HERE (POINTS_HERE / 4U + 2U)
/* A watch event's body without its set. */
#define EVENT_BODY 64U
#define QUEUED_ERRORS 8U
#define SERIAL_BYTES 16U
#define DATE_BYTES 11U

#define IDLE_CLOSE_US 10000000UL
#define WATCH_IDLE_US 5000000UL
#define RATE_TRIAL_US 2000000UL
#define FIRST_RATE 115200UL
/* The UART keeps two bytes; at this rate they last longer than the longest interrupt. */
#define FASTEST_RATE 250000UL
#define SLOWEST_RATE 300UL

#define SETTLE_DEFAULT_US 500UL
#define SETTLE_LEAST_US 100UL
#define SETTLE_MOST_US 10000000UL

/* Ramps of one capacitance reading: each phase of the poll as often as this. Noise on the threshold scatters
 * a rise in proportion to its length; above RAMP_FARAD the repeats grow with the square of what is read, so
 * that the mean's scatter stays what it is there. */
#define RAMP_REPEATS 64U
#define RAMP_REPEATS_MOST 580U
#define RAMP_FARAD 1.5e-9F
#define CALIBRATION_REPEATS 4U
#define POLL_CYCLES 8U
#define MOST_POLLS 4000U
/* Cycles from the pull-up's start to the first poll of phase 0. */
#define POLL_LATENCY 2.0F
#define DISCHARGE_US 150U
#define DISCHARGE_WHOLE_US 2000U
#define CHARGE_WHOLE_US 20000U
/* Farads over this are over range. */
#define CAP_MOST 1.0e-8F
/* Limit of error beside 3 %, where a cycle is worth no more than this. */
#define CAP_ERROR 3.0e-12F
#define FLOAT_TEST_US 2000U

#endif

/* Capacitance by the time that a point, released from 0 V, takes to read high through its own pull-up. */
#ifndef CAPACITANCE_H
#define CAPACITANCE_H

#include "points.h"

typedef enum {
    RISE_GOOD,
    RISE_OVER,     /* slower than MOST_POLLS */
    RISE_CONDUCTS, /* it never reads high: something conducts to what is held at 0 V */
} rise_t;

/* The mean rise of one point while `held` is at 0 V and the rest open, in cycles, each phase of the poll as
 * often as `repeats` says. Released afterwards. */
rise_t capacitance_rise(point_t index, const points_t *held, uint16_t repeats, float *cycles);

#endif

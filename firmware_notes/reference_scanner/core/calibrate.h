/* What a person sets once: serial number, date, and farads per cycle of each point. */
#ifndef CALIBRATE_H
#define CALIBRATE_H

#include <stdbool.h>

#include "text.h"

/* The limit of error that does not grow with the reading, F: one cycle of the point whose cycle is worth
 * most. */
float calibrate_error(void);
void calibrate_serial(word_t rest, out_t *out);
void calibrate_date(word_t rest, out_t *out);
/* All these points are joined by a plug. First without a capacitor between that and the board's 0 V (`with`
 * false), then with one of `farad`: what a cycle of each point's rise is worth follows, and is stored. */
void calibrate_capacitance(const points_t *points, bool with, float farad, out_t *out);

#endif

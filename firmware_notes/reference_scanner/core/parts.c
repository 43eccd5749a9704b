/* Current goes from the first point of a part to each other one in turn, both ways, and every point's voltage
 * is read meanwhile: no current flows in those, so that what lies between point and conductor is not in it.
 */
#include "limits.h"

#if TAPPED
#include <math.h>

#include "board.h"
#include "parts.h"
#include "taps.h"

/* Forwards and backwards are the same within this, ratio and ohm. */
#define ONE_WAY_RATIO 0.05F
#define ONE_WAY_OHM 1.0F

typedef enum { THERE, BACK } way_t;

/* Current on its way between points[0] and points[k]; what it is, from points[k] to points[0]. */
static ohms_t start_way(const uint8_t *points, uint8_t k, way_t way, uint8_t *gain, uint32_t settle_us,
                        float *current) {
    float share;
    float in;
    float out;
    uint8_t first = points[0];
    uint8_t other = points[k];
    ohms_force(way == THERE ? other : first, way == THERE ? first : other, settle_us);
    if (!taps_select(other, first, TAP_NONE) || !ohms_steady(0, &share) ||
        !ohms_current_in(other, first, PACE_90, &in) || !ohms_current_out(first, other, PACE_90, &out)) {
        return OHMS_FAULT;
    }
    if (way == THERE) {
        *gain = ohms_gain(share);
        if (!ohms_comes_back(in, out)) {
            return OHMS_LOST;
        }
    }
    *current = 0.5F * (in + out);
    return OHMS_GOOD;
}

/* All points' voltages against points[0]; of the way back, the difference to those of the way there. */
static ohms_t read_column(const uint8_t *points, uint8_t count, uint8_t k, float most, uint32_t settle_us) {
    static float there[MOST_JOINED];
    float current[2];
    uint8_t gain = 0;
    ohms_t how = OHMS_GOOD;
    for (way_t way = THERE; way <= BACK && how == OHMS_GOOD; way++) {
        how = start_way(points, k, way, &gain, settle_us, &current[way]);
        if (how == OHMS_GOOD && way == THERE && current[THERE] * most < 1.0F) {
            return OHMS_OPEN;
        }
        for (uint8_t i = 1; i < count && how == OHMS_GOOD; i++) {
            float share;
            if (!taps_select(points[i], points[0], TAP_NONE) ||
                !converter_read(READ_X_Y, gain, PACE_330, &share)) {
                return OHMS_FAULT;
            }
            if (way == THERE) {
                there[i] = share;
                continue;
            }
            if (i == k && !(fabsf(there[k] / current[THERE] - share / current[BACK]) <=
                            ONE_WAY_RATIO * there[k] / current[THERE] + ONE_WAY_OHM)) {
                return OHMS_OPEN;
            }
            resistances_put(i, k, (there[i] - share) / (current[THERE] - current[BACK]));
        }
    }
    return how;
}

/* Where something conducts one way only, points are joined from A to B and not among each other: of all that
 * lead from or to the first of each group the best pair stands for all, which is no less than all together.
 */
static ohms_t read_best(const uint8_t *points, uint8_t count, uint8_t of_a, float most, uint32_t settle_us,
                        float *ohm) {
    *ohm = INFINITY;
    for (uint8_t i = 0; i < count; i++) {
        float between;
        if (i == of_a) {
            continue; /* read with the first of A */
        }
        ohms_t how =
            ohms_pair(points[i < of_a ? i : 0U], points[i < of_a ? of_a : i], most, settle_us, &between);
        if (how != OHMS_GOOD && how != OHMS_OPEN) {
            return how;
        }
        if (how == OHMS_GOOD && between < *ohm) {
            *ohm = between;
        }
    }
    return isfinite(*ohm) ? OHMS_GOOD : OHMS_OPEN;
}

ohms_t parts_read(const uint8_t *points, uint8_t count, uint8_t of_a, float most, uint32_t settle_us,
                  float *ohm) {
    if (count == 2U) {
        return ohms_pair(points[0], points[1], most, settle_us, ohm);
    }
    ohms_t how = OHMS_GOOD;
    for (uint8_t k = 1; k < count && how == OHMS_GOOD; k++) {
        how = read_column(points, count, k, most, settle_us);
    }
    how = ohms_ended(how);
    if (how == OHMS_OPEN) {
        return read_best(points, count, of_a, most, settle_us, ohm);
    }
    if (how == OHMS_GOOD) {
        *ohm = resistances_joined(count, of_a);
    }
    return how;
}
#endif

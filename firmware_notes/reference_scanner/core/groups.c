/* Resistance between groups of points. The pins cannot join points: each has its own resistor. So what is
 * joined by the loom is found first, each such part is read pair by pair, and the parts' conductances add. */
#include "limits.h"

#if TAPPED
#include <math.h>
#include <string.h>

#include "board.h"
#include "ohms.h"
#include "parts.h"
#include "taps.h"

/* Points of the first group from which a current flows, at the most. */
#define MOST_STARTS 16U
/* Of the current in, what counts as coming out at a point; and the least, supplies per ohm (0.2 uA). */
#define SHARE_OUT 0.005F
#define LEAST_OUT 4.0e-8F
#define LEAST_OHM 1.0e-4F

static uint8_t start[MOST_STARTS];    /* points of A from which current flows */
static points_t reached[MOST_STARTS]; /* the points of B at which it comes out */
static uint8_t starts;

static bool read_among(const points_t *a, const points_t *b, uint32_t settle_us, uint8_t *index,
                       float *share) {
    points_t pulled;
    bool good = true;
    *share = 0.0F;
    *index = points_first(a);
    for (uint8_t i = 0; i < SET_BYTES; i++) {
        pulled.byte[i] = (uint8_t)(a->byte[i] | b->byte[i]);
    }
    for (uint8_t i = 0; i < POINTS && good; i++) {
        float off = 0.0F;
        if (!points_has(&pulled, i)) {
            continue;
        }
        good = points_has(a, i) ? ohms_apart(i, points_first(b), &pulled, settle_us, &off)
                                : ohms_apart(points_first(a), i, &pulled, settle_us, &off);
        if (fabsf(off) > fabsf(*share)) {
            *share = off;
            *index = i;
        }
    }
    return good;
}

ohms_t ohms_found_among(const points_t *a, const points_t *b, uint32_t settle_us, uint8_t *index,
                        float *share) {
    bool good = read_among(a, b, settle_us, index, share);
    if (good && fabsf(*share) > 1.0F) {
        board_wait_us(FALL_US);
        good = read_among(a, b, settle_us, index, share);
    }
    board_release();
    return !good ? OHMS_FAULT : fabsf(*share) > 1.0F ? OHMS_VOLTS : OHMS_GOOD;
}

/* Points of A from which more flows than their part of what OHM_MOST lets through. */
static ohms_t find_starts(const points_t *a, const points_t *b, uint32_t settle_us) {
    float least = 1.0F / (OHM_MOST * (float)points_count(a));
    starts = 0;
    for (uint8_t i = 0; i < POINTS; i++) {
        float current;
        if (!points_has(a, i)) {
            continue;
        }
        if (!ohms_into(i, b, settle_us, &current)) {
            return OHMS_FAULT;
        }
        if (current >= least) {
            if (starts == MOST_STARTS) {
                return OHMS_MANY;
            }
            start[starts++] = i;
        }
    }
    return OHMS_GOOD;
}

static ohms_t find_reached(const points_t *b, uint32_t settle_us) {
    for (uint8_t k = 0; k < starts; k++) {
        float in;
        float out;
        float most = 0.0F;
        uint8_t best = points_first(b);
        memset(&reached[k], 0, sizeof reached[k]);
        if (!ohms_into(start[k], b, settle_us, &in)) {
            return OHMS_FAULT;
        }
        for (uint8_t i = 0; i < POINTS; i++) {
            if (!points_has(b, i)) {
                continue;
            }
            if (!ohms_out_of(i, &out)) {
                return OHMS_FAULT;
            }
            if (out > SHARE_OUT * in && out > LEAST_OUT) {
                points_add(&reached[k], i);
            }
            if (out > most) {
                most = out;
                best = i;
            }
        }
        points_add(&reached[k], best);
    }
    return OHMS_GOOD;
}

/* Take the part of the loom that start `k` is in out of those that are left: its points, those of A first. */
static uint8_t take_part(uint8_t k, uint16_t *left, uint8_t *points, uint8_t *of_a) {
    points_t all = reached[k];
    uint16_t mine = (uint16_t)(1U << k);
    bool more = true;
    while (more) {
        more = false;
        for (uint8_t j = 0; j < starts; j++) {
            if ((*left & (1U << j)) && !(mine & (1U << j)) && points_meet(&all, &reached[j])) {
                mine = (uint16_t)(mine | (1U << j));
                for (uint8_t i = 0; i < SET_BYTES; i++) {
                    all.byte[i] |= reached[j].byte[i];
                }
                more = true;
            }
        }
    }
    *left = (uint16_t)(*left & ~mine);
    uint8_t count = 0;
    for (uint8_t j = 0; j < starts; j++) {
        if ((mine & (1U << j)) && count < MOST_JOINED) {
            points[count++] = start[j];
        }
    }
    *of_a = count;
    if (count + points_count(&all) > MOST_JOINED) {
        return MOST_JOINED + 1U;
    }
    for (uint8_t i = 0; i < POINTS; i++) {
        if (points_has(&all, i)) {
            points[count++] = i;
        }
    }
    return count;
}

/* Where current goes from A, and where it comes out at B; released afterwards. */
static ohms_t find_currents(const points_t *a, const points_t *b, uint32_t settle_us) {
    uint8_t index;
    float share;
    starts = 0;
    ohms_t how = ohms_found_among(a, b, settle_us, &index, &share);
    how = how == OHMS_GOOD ? find_starts(a, b, settle_us) : how;
    how = how == OHMS_GOOD ? find_reached(b, settle_us) : how;
    board_release();
    return how;
}

ohms_t ohms_diode_groups(const points_t *a, const points_t *b, uint32_t settle_us, float *volts) {
    if (points_count(a) == 1U && points_count(b) == 1U) {
        return ohms_diode(points_first(a), points_first(b), settle_us, volts);
    }
    ohms_t how = find_currents(a, b, settle_us);
    *volts = INFINITY;
    for (uint8_t k = 0; k < starts && how == OHMS_GOOD; k++) {
        for (uint8_t i = 0; i < POINTS && how == OHMS_GOOD; i++) {
            float needs;
            if (!points_has(&reached[k], i)) {
                continue;
            }
            how = ohms_diode(start[k], i, settle_us, &needs);
            if (how == OHMS_GOOD && needs < *volts) {
                *volts = needs;
            }
            how = how == OHMS_OPEN ? OHMS_GOOD : how;
        }
    }
    return how == OHMS_GOOD && !isfinite(*volts) ? OHMS_OPEN : how;
}

ohms_t ohms_groups(const points_t *a, const points_t *b, uint32_t settle_us, float *ohm) {
    if (points_count(a) == 1U && points_count(b) == 1U) {
        return ohms_pair(points_first(a), points_first(b), OHM_MOST, settle_us, ohm);
    }
    float most = OHM_MOST * (float)points_count(a);
    float siemens = 0.0F;
    ohms_t how = find_currents(a, b, settle_us);
    uint16_t left = (uint16_t)((1UL << starts) - 1UL);
    for (uint8_t k = 0; k < starts && how == OHMS_GOOD; k++) {
        uint8_t points[MOST_JOINED + 1U];
        uint8_t of_a;
        float part;
        if (!(left & (1U << k))) {
            continue;
        }
        uint8_t count = take_part(k, &left, points, &of_a);
        how = count > MOST_JOINED ? OHMS_MANY : parts_read(points, count, of_a, most, settle_us, &part);
        if (how == OHMS_GOOD) {
            siemens += 1.0F / (part > LEAST_OHM ? part : LEAST_OHM);
        } else if (how == OHMS_OPEN) {
            how = OHMS_GOOD;
        }
    }
    if (how == OHMS_GOOD) {
        *ohm = siemens > 0.0F ? 1.0F / siemens : INFINITY;
        how = *ohm <= OHM_MOST ? OHMS_GOOD : OHMS_OPEN;
    }
    return how;
}
#endif

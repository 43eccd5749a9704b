#include "limits.h"

#if TAPPED
#include <math.h>
#include <string.h>

#include "board.h"
#include "converter.h"
#include "ohms.h"
#include "settings.h"
#include "taps.h"

/* Multiplexers and inputs settle within this, whatever the loom needs. */
#define TAP_SETTLE_US 300U
#define STEADY_TRIES 20U
/* Two readings that follow each other are the same within this share of the range. */
#define STEADY_SHARE 2.0e-4F
#define RANGE_SHARE 0.85F
/* What may be lost on the way: a share of the current, and supplies per ohm (2.5 uA). */
#define LOST_SHARE 0.02F
#define LOST_LEAST 5.0e-7F
/* Forwards and backwards are the same within this, ratio and ohm. */
#define ONE_WAY_RATIO 0.05F
#define ONE_WAY_OHM 1.0F
/* No current flows below this, supplies per ohm (10 uA). */
#define DIODE_LEAST 2.0e-6F

static bool fitted;

void ohms_find(void) {
    board_release();
    board_taps_start();
    fitted = taps_find() && converter_find();
}

bool ohms_fitted(void) {
    return fitted;
}

float ohms_series(uint8_t index) {
    return settings.series_ohm[index] > 0.0F ? settings.series_ohm[index] : SERIES_OHM;
}

static void settle(uint32_t settle_us) {
    board_wait_us(settle_us > TAP_SETTLE_US ? settle_us : TAP_SETTLE_US);
}

/* Leave nothing driven and nothing connected. */
ohms_t ohms_ended(ohms_t how) {
    board_release();
    bool off = taps_select(TAP_NONE, TAP_NONE, TAP_NONE);
    return off ? how : OHMS_FAULT;
}

static points_t only(uint8_t index) {
    points_t set;
    memset(&set, 0, sizeof set);
    points_add(&set, index);
    return set;
}

void ohms_force(uint8_t high, uint8_t low, uint32_t settle_us) {
    points_t one = only(high);
    points_t other = only(low);
    board_force(&one, &other);
    settle(settle_us);
}

bool ohms_steady(uint8_t gain, float *share) {
    float last = SHARE_OVER;
    const float near = STEADY_SHARE / (float)(1U << gain);
    for (uint8_t i = 0; i < STEADY_TRIES; i++) {
        if (!converter_read(READ_X_Y, gain, PACE_330, share)) {
            return false;
        }
        if (fabsf(*share - last) <= near) {
            return true;
        }
        last = *share;
    }
    return true;
}

bool ohms_supply(float *volts) {
    float share = 0.0F;
    bool good = converter_read(READ_SUPPLY, 0, PACE_90, &share);
    *volts = share * 4.0F * 2.048F;
    return good;
}

bool ohms_apart(uint8_t a, uint8_t b, const points_t *pulled, uint32_t settle_us, float *share) {
    const points_t none = {{0}};
    board_apply(&none, pulled);
    settle(settle_us);
    return taps_select(a, b, TAP_NONE) && converter_read(READ_X_Y, 0, PACE_330, share);
}

/* Both pulled up, so that neither floats. A source between them lifts its plus over the supply then, where it
 * is clamped: the plus alone is pulled up, and the reading is whole. */
static bool read_found(uint8_t a, uint8_t b, uint32_t settle_us, float *share) {
    points_t pulled = only(a);
    points_add(&pulled, b);
    bool good = ohms_apart(a, b, &pulled, settle_us, share);
    if (good && fabsf(*share) > FOUND_LEAST) {
        float whole = 0.0F;
        pulled = only(*share > 0.0F ? a : b);
        good = ohms_apart(a, b, &pulled, settle_us, &whole);
        *share = fabsf(whole) > fabsf(*share) ? whole : *share;
    }
    return good;
}

ohms_t ohms_found(uint8_t a, uint8_t b, uint32_t settle_us, float *share) {
    bool good = read_found(a, b, settle_us, share);
    if (good && fabsf(*share) > 1.0F) {
        good = read_found(a, b, FALL_US, share);
    }
    board_release();
    if (!good) {
        return ohms_ended(OHMS_FAULT);
    }
    return fabsf(*share) > 1.0F ? ohms_ended(OHMS_VOLTS) : OHMS_GOOD;
}

/* The current in at a, from its own resistor; a is on X. */
bool ohms_current_in(uint8_t a, uint8_t y, pace_t pace, float *current) {
    float share = 0.0F;
    bool good = taps_select(a, y, a) && converter_read(READ_X_Z, 0, pace, &share);
    *current = -share / ohms_series(a);
    return good;
}

bool ohms_current_out(uint8_t b, uint8_t x, pace_t pace, float *current) {
    float share = 0.0F;
    bool good = taps_select(x, b, b) && converter_read(READ_Y_Z, 0, pace, &share);
    *current = share / ohms_series(b);
    return good;
}

uint8_t ohms_gain(float share) {
    uint8_t gain = 0;
    while (gain < MOST_GAIN && fabsf(share) * (float)(2U << gain) <= RANGE_SHARE) {
        gain++;
    }
    return gain;
}

bool ohms_comes_back(float in, float out) {
    return fabsf(in - out) <= LOST_SHARE * 0.5F * (in + out) + LOST_LEAST;
}

/* One way of the current, from `from` to `to`; x is the voltage of a against b, i the current from a to b. */
typedef struct {
    float x;
    float in;
    float out;
} way_t;

static ohms_t read_way(uint8_t a, uint8_t b, uint8_t *gain, float most, way_t *way) {
    float x;
    if (!taps_select(a, b, a) || !ohms_steady(0, &x) || !ohms_current_in(a, b, PACE_90, &way->in)) {
        return OHMS_FAULT;
    }
    if (most > 0.0F && !(way->in * most >= x)) {
        return OHMS_OPEN;
    }
    if (most > 0.0F) {
        *gain = ohms_gain(x);
    }
    if (!ohms_steady(*gain, &x) || !converter_read(READ_X_Y, *gain, PACE_20, &way->x) ||
        !ohms_current_out(b, a, PACE_90, &way->out)) {
        return OHMS_FAULT;
    }
    return OHMS_GOOD;
}

ohms_t ohms_pair(uint8_t a, uint8_t b, float most, uint32_t settle_us, float *ohm) {
    way_t there;
    way_t back;
    uint8_t gain = 0;
    float share;
    ohms_t how = ohms_found(a, b, settle_us, &share);
    if (how != OHMS_GOOD) {
        return how;
    }
    ohms_force(a, b, settle_us);
    how = read_way(a, b, &gain, most, &there);
    if (how != OHMS_GOOD) {
        return ohms_ended(how);
    }
    float forwards = 0.5F * (there.in + there.out);
    if (!ohms_comes_back(there.in, there.out)) {
        return ohms_ended(OHMS_LOST);
    }
    ohms_force(b, a, settle_us);
    how = read_way(a, b, &gain, 0.0F, &back);
    if (how != OHMS_GOOD) {
        return ohms_ended(how);
    }
    float backwards = 0.5F * (back.in + back.out);
    float one = there.x / forwards;
    float other = back.x / backwards;
    bool same = fabsf(back.x) < SHARE_OVER / (float)(1U << gain) &&
                fabsf(one - other) <= ONE_WAY_RATIO * one + ONE_WAY_OHM;
    *ohm = same ? (there.x - back.x) / (forwards - backwards) : one;
    return ohms_ended(*ohm > most ? OHMS_OPEN : OHMS_GOOD);
}

ohms_t ohms_drops(uint8_t a, uint8_t b, uint32_t settle_us, float *between, float *at_a, float *at_b) {
    way_t there;
    way_t back;
    uint8_t gain = 0;
    float share;
    ohms_t how = ohms_found(a, b, settle_us, &share);
    if (how != OHMS_GOOD) {
        return how;
    }
    ohms_force(a, b, settle_us);
    how = read_way(a, b, &gain, OHM_MOST, &there);
    if (how == OHMS_GOOD) {
        ohms_force(b, a, settle_us);
        how = read_way(a, b, &gain, 0.0F, &back);
    }
    if (how == OHMS_GOOD) {
        *between = there.x - back.x;
        *at_a = (there.in - back.in) * ohms_series(a);
        *at_b = (there.out - back.out) * ohms_series(b);
    }
    return ohms_ended(how);
}

ohms_t ohms_diode(uint8_t a, uint8_t b, uint32_t settle_us, float *volts) {
    float share;
    float supply;
    float current;
    ohms_t how = ohms_found(a, b, settle_us, &share);
    if (how != OHMS_GOOD) {
        return how;
    }
    ohms_force(a, b, settle_us);
    if (!taps_select(a, b, a) || !ohms_steady(0, &share) || !ohms_current_in(a, b, PACE_90, &current) ||
        !converter_read(READ_X_Y, 0, PACE_90, &share) || !ohms_supply(&supply)) {
        return ohms_ended(OHMS_FAULT);
    }
    *volts = share * supply;
    return ohms_ended(current < DIODE_LEAST ? OHMS_OPEN : OHMS_GOOD);
}

bool ohms_into(uint8_t index, const points_t *low, uint32_t settle_us, float *current) {
    points_t one = only(index);
    board_force(&one, low);
    settle(settle_us);
    return ohms_current_in(index, TAP_NONE, PACE_330, current);
}

bool ohms_out_of(uint8_t index, float *current) {
    return ohms_current_out(index, TAP_NONE, PACE_330, current);
}
#endif

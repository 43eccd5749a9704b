#include "limits.h"

#if TAPPED
#include <math.h>
#include <string.h>

#include "board.h"
#include "converter.h"
#include "ohms.h"
#include "taps.h"

#define LOW_SHARE 0.1F
#define HIGH_SHARE 0.8F
#define FLOAT_US 1000U
/* 400 uV of 5 V, over the protection and the tap's resistor: see ohms.md. */
#define LEAK_SHARE 8.0e-5F

static bool reads(uint8_t index, bool low) {
    float x;
    float y;
    float z;
    if (!taps_select(index, TAP_NONE, index) || !converter_read(READ_X, 0, PACE_330, &x) ||
        !converter_read(READ_Z, 0, PACE_330, &z) || !taps_select(TAP_NONE, index, TAP_NONE) ||
        !converter_read(READ_Y, 0, PACE_330, &y)) {
        return false;
    }
    return low ? x < LOW_SHARE && y < LOW_SHARE && z < LOW_SHARE
               : x > HIGH_SHARE && y > HIGH_SHARE && z > HIGH_SHARE;
}

/* Low while all others are pulled up, and pulled up while all others are low: else it is another's tap. */
static bool is_its_own(uint8_t index) {
    points_t one;
    points_t others;
    memset(&one, 0, sizeof one);
    points_add(&one, index);
    for (uint8_t i = 0; i < SET_BYTES; i++) {
        others.byte[i] = (uint8_t)~one.byte[i];
    }
    board_apply(&one, &others);
    board_wait_us(FLOAT_US);
    bool own = reads(index, true);
    board_apply(&others, &one);
    board_wait_us(FLOAT_US);
    return reads(index, false) && own;
}

/* What leaks drops over the resistors, and differs between a pin at the supply and one at 0 V. */
static bool is_tight(uint8_t index) {
    const points_t none = {{0}};
    points_t one = none;
    float low = 0.0F;
    float high = SHARE_OVER;
    points_add(&one, index);
    board_force(&none, &one);
    board_wait_us(FLOAT_US);
    bool good = taps_select(index, TAP_NONE, index) && converter_read(READ_X_Z, 2, PACE_90, &low);
    board_force(&one, &none);
    board_wait_us(FLOAT_US);
    good = converter_read(READ_X_Z, 2, PACE_90, &high) && good;
    return good && fabsf(high - low) < LEAK_SHARE;
}

uint16_t ohms_self_test(void) {
    uint16_t fault = 0;
    if (!taps_find()) {
        return 3U * FAULT_STEP + 99U;
    }
    if (!converter_find()) {
        return 3U * FAULT_STEP + 98U;
    }
    for (uint8_t i = 0; i < POINTS && fault == 0; i++) {
        if (!is_its_own(i)) {
            fault = (uint16_t)(4U * FAULT_STEP + i + 1U);
        } else if (!is_tight(i)) {
            fault = (uint16_t)(5U * FAULT_STEP + i + 1U);
        }
    }
    board_release();
    (void)taps_select(TAP_NONE, TAP_NONE, TAP_NONE);
    return fault;
}
#endif

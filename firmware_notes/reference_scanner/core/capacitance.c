#include "capacitance.h"

#include <string.h>

#include "board.h"

#if RISES

/* A poll comes every POLL_CYCLES. Its phase against the release goes through all of them, so that the mean
 * over a round is the rise in whole cycles; below that resolves only what noise there is on the threshold. */
rise_t capacitance_rise(point_t index, const points_t *held, uint16_t repeats, float *cycles) {
    points_t down = *held;
    points_t pulled;
    points_t low;
    memset(&pulled, 0, sizeof pulled);
    points_add(&down, index);
    points_add(&pulled, index);
    board_apply(&down, &(points_t){{0}});
    board_wait_us(DISCHARGE_WHOLE_US);

    board_apply(held, &pulled);
    uint32_t waited = 0;
    do {
        board_wait_us(SETTLE_LEAST_US);
        board_read(&low);
        waited += SETTLE_LEAST_US;
    } while (points_has(&low, index) && waited < CHARGE_WHOLE_US);
    if (points_has(&low, index)) {
        board_release();
        return RISE_CONDUCTS;
    }

    board_apply(&down, &(points_t){{0}});
    board_wait_us(DISCHARGE_WHOLE_US);
    uint32_t sum = 0;
    rise_t result = RISE_GOOD;
    for (uint16_t ramp = 0; ramp < repeats * POLL_CYCLES && result == RISE_GOOD; ramp++) {
        uint8_t phase = (uint8_t)(ramp % POLL_CYCLES);
        uint16_t polls = board_rise(index, phase);
        if (polls >= MOST_POLLS) {
            result = RISE_OVER;
        }
        sum += (uint32_t)polls * POLL_CYCLES + phase;
        board_kick();
        board_wait_us(DISCHARGE_US);
    }
    board_release();
    /* The first high poll lies (POLL_CYCLES - 1) / 2 cycles after the whole cycle of the rise on average, and
     * the rise half a cycle before that; the first poll is POLL_LATENCY cycles after the release. */
    *cycles = (float)sum / (float)(repeats * POLL_CYCLES) - 1.5F * (float)POLL_CYCLES + POLL_LATENCY;
    return result;
}
#endif

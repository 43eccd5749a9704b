#include "scan.h"

#include <string.h>

#include "board.h"

#if PHASES > 1
static void scan_phase(uint8_t phase, points_t *pulled) {
    memset(pulled, 0, sizeof *pulled);
    pulled->byte[phase >> 1] = phase & 1U ? 0xF0U : 0x0FU;
}

void scan_sense(const points_t *driven, uint32_t settle_us, points_t *low) {
    points_t pulled;
    points_t read;
    memset(low, 0, sizeof *low);
    for (uint8_t phase = 0; phase < PHASES; phase++) {
        scan_phase(phase, &pulled);
        uint8_t i = phase >> 1;
        uint8_t mine = pulled.byte[i];
        /* What is driven needs no pull-up, and must not have one: pins are never driven high. */
        pulled.byte[i] = (uint8_t)(mine & ~driven->byte[i]);
        board_apply(driven, &pulled);
        board_wait_us(settle_us);
        board_read(&read);
        low->byte[i] = (uint8_t)(low->byte[i] | (read.byte[i] & mine));
    }
    board_release();
}
#else
void scan_sense(const points_t *driven, uint32_t settle_us, points_t *low) {
    board_apply(driven, driven);
    board_wait_us(settle_us);
    board_read(low);
    board_release();
}
#endif

static uint16_t first_fault(const points_t *faults, uint16_t base) {
    return points_empty(faults) ? 0U : (uint16_t)(base + points_first(faults) + 1U);
}

/* Charge every pin, leave them alone and see which still read high: what leaks more than a quarter of a
 * microampere does not (see sense_and_clear.md). */
#if PHASES > 1
static uint16_t leaks(void) {
    points_t all;
    points_t none;
    points_t low;
    memset(&all, 0xFF, sizeof all);
    memset(&none, 0, sizeof none);
    board_apply(&none, &all);
    board_wait_us(SETTLE_DEFAULT_US);
    board_release();
    board_wait_us(FLOAT_TEST_US);
    board_read(&low);
    return first_fault(&low, FAULT_STEP);
}
#else
/* What is always pulled up cannot be left alone; a leak shows as a point that reads low by itself. */
static uint16_t leaks(void) {
    return 0;
}
#endif

uint16_t scan_self_test(void) {
    points_t none;
    points_t low;
    memset(&none, 0, sizeof none);
    scan_sense(&none, SETTLE_DEFAULT_US, &low);
    uint16_t fault = first_fault(&low, 0U);
    for (point_t index = 0; index < POINTS_HERE && fault == 0; index++) {
        points_t one = none;
        points_add(&one, index);
        scan_sense(&one, SETTLE_LEAST_US, &low);
        if (!points_has(&low, index)) {
            fault = (uint16_t)(index + 1U);
        } else if (points_count(&low) > 1U) {
            low.byte[index >> 3] = (uint8_t)(low.byte[index >> 3] & ~one.byte[index >> 3]);
            fault = first_fault(&low, 2U * FAULT_STEP);
        }
    }
    if (board_fault() != 0) {
        return (uint16_t)(3U * FAULT_STEP + board_fault());
    }
    return fault != 0 ? fault : leaks();
}

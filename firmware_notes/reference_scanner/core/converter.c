#include "limits.h"

#if TAPPED
#include "board.h"
#include "converter.h"

#define RESET 0x06U
#define START 0x08U
#define READ_DATA 0x10U
#define READ_SETTINGS 0x23U  /* four, from the first */
#define WRITE_SETTINGS 0x43U /* the same */
#define SETTINGS 4U

#define BYPASS 0x01U     /* of the amplifier, up to 4: inputs may then reach both supplies */
#define MOST_BYPASSED 2U /* a gain of 4 */
#define REFERENCE_SUPPLY 0xC0U
#define NO_MAINS 0x10U      /* rejects 50 and 60 Hz, at 20 a second */
#define READY_ON_DATA 0x02U /* the data line goes low when a reading is there */

#define FULL 8388608.0F
#define RESET_US 200U
#define NOTHING_SHARE 0.002F

/* The least and the most time of a reading, us. */
static void times(pace_t pace, uint32_t *least_us, uint32_t *most_us) {
    uint32_t usual_us = pace == PACE_20 ? 51000UL : pace == PACE_90 ? 11200UL : 3200UL;
    *least_us = usual_us / 2U;
    *most_us = usual_us * 2U;
}

static bool set_up(const uint8_t *settings_wanted) {
    bool held = true;
    (void)board_converter_byte(WRITE_SETTINGS);
    for (uint8_t i = 0; i < SETTINGS; i++) {
        (void)board_converter_byte(settings_wanted[i]);
    }
    (void)board_converter_byte(READ_SETTINGS);
    for (uint8_t i = 0; i < SETTINGS; i++) {
        held = board_converter_byte(0) == settings_wanted[i] && held;
    }
    return held;
}

/* A line that is stuck low says at once that it is ready, one that is stuck high never. */
static bool wait_ready(pace_t pace) {
    uint32_t least_us;
    uint32_t most_us;
    uint64_t began = board_us();
    times(pace, &least_us, &most_us);
    while (!board_converter_ready()) {
        board_kick();
        if (board_us() - began > most_us) {
            return false;
        }
    }
    return board_us() - began >= least_us;
}

static float take(uint8_t gain) {
    (void)board_converter_byte(READ_DATA);
    uint32_t code = (uint32_t)board_converter_byte(0) << 16;
    code |= (uint32_t)board_converter_byte(0) << 8;
    code |= board_converter_byte(0);
    if (code == 0x7FFFFFUL) {
        return SHARE_OVER;
    }
    if (code == 0x800000UL) {
        return -SHARE_OVER;
    }
    int32_t value = code & 0x800000UL ? (int32_t)code - 0x1000000L : (int32_t)code;
    return (float)value / (FULL * (float)(1U << gain));
}

bool converter_read(input_t input, uint8_t gain, pace_t pace, float *share) {
    const uint8_t wanted[SETTINGS] = {
        (uint8_t)((uint8_t)(input << 4) | (uint8_t)(gain << 1) | (gain <= MOST_BYPASSED ? BYPASS : 0U)),
        (uint8_t)(pace << 5),
        (uint8_t)((input == READ_SUPPLY ? 0U : REFERENCE_SUPPLY) | (pace == PACE_20 ? NO_MAINS : 0U)),
        READY_ON_DATA,
    };
    board_converter_select(true);
    bool good = set_up(wanted);
    if (good) {
        (void)board_converter_byte(START);
        good = wait_ready(pace);
    }
    if (good) {
        *share = take(gain);
    }
    board_converter_select(false);
    return good;
}

bool converter_find(void) {
    float share = SHARE_OVER;
    board_converter_select(true);
    (void)board_converter_byte(RESET);
    board_converter_select(false);
    board_wait_us(RESET_US);
    return converter_read(READ_SHORTED, 0, PACE_330, &share) && share < NOTHING_SHARE &&
           share > -NOTHING_SHARE;
}
#endif

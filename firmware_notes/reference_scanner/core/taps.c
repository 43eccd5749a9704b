#include "limits.h"

#if TAPPED
#include <stdbool.h>
#include <string.h>

#include "board.h"
#include "taps.h"

#define CHAIN ((uint8_t)(2U * TAP_BOARDS))
#define ALL_OFF 0x70U
#define X_OFF 0x10U
#define Y_OFF 0x20U
#define Z_OFF 0x40U

/* What goes in first ends up farthest. It goes in twice: the second time the first comes out at the end, if
 * every register and every wire of the chain does its work. */
static bool shift(const uint8_t *bytes) {
    uint8_t back[CHAIN];
    board_taps(bytes, back, CHAIN);
    board_taps(bytes, back, CHAIN);
    return memcmp(bytes, back, CHAIN) == 0;
}

bool taps_find(void) {
    uint8_t bytes[CHAIN];
    /* All differ, so that a chain of another length shows; all multiplexers stay off. */
    for (uint8_t i = 0; i < CHAIN; i++) {
        bytes[i] = (uint8_t)(i & 1U ? 0xA0U + i : ALL_OFF + i);
    }
    return shift(bytes) && taps_select(TAP_NONE, TAP_NONE, TAP_NONE);
}

bool taps_select(uint8_t x, uint8_t y, uint8_t z) {
    uint8_t bytes[CHAIN];
    for (uint8_t i = 0; i < (uint8_t)TAP_BOARDS; i++) {
        uint8_t board = (uint8_t)(TAP_BOARDS - 1U - i);
        uint8_t off = (uint8_t)((x >> 4 == board ? 0U : X_OFF) | (y >> 4 == board ? 0U : Y_OFF) |
                                (z >> 4 == board ? 0U : Z_OFF));
        bytes[(uint8_t)(2U * i)] = (uint8_t)(off | (z & 15U));
        bytes[(uint8_t)(2U * i + 1U)] = (uint8_t)((x & 15U) | (uint8_t)(y << 4));
    }
    return shift(bytes);
}
#endif

/* Converter and taps for the board in memory: registers that hold, a chain that gives back, and readings that
 * mean nothing, of every size. Aborts where the core speaks to a converter that it did not select. */
#include "host_taps.h"

#include "limits.h"

#if TAPPED
#include <stdlib.h>
#include <string.h>

#include "board.h"
#include "host_board.h"

#define CHAIN (2U * TAP_BOARDS)

uint32_t host_codes;
uint32_t host_stops;
bool host_broken;
static uint8_t chain[CHAIN];
static uint8_t registers[4];
static uint8_t answer[4];
static uint8_t answers, answered, to_write;
static bool selected;
static uint64_t ready_us;
static uint32_t readings;

static void must(bool it) {
    if (!it) {
        abort();
    }
}

void board_taps_start(void) {
    selected = false;
    answers = answered = to_write = 0;
    readings = 0;
}

void board_taps(const uint8_t *out, uint8_t *back, uint8_t count) {
    must(count == CHAIN && !selected);
    for (uint8_t i = 0; i < count; i++) {
        back[i] = host_broken ? 0xFFU : chain[CHAIN - 1U];
        memmove(chain + 1, chain, CHAIN - 1U);
        chain[0] = out[i];
    }
}

void board_converter_select(bool on) {
    must(on != selected || !on);
    selected = on;
    answers = answered = to_write = 0;
}

bool board_converter_ready(void) {
    must(selected);
    host_us += 200;
    return host_us >= ready_us && (host_stops == 0 || readings < host_stops);
}

/* Readings of every size: a draw, shifted by another. */
static uint32_t code(void) {
    host_codes = host_codes * 1664525U + 1013904223U;
    if (registers[0] >> 4 == 14U) {
        return 0;
    }
    int32_t value = (int32_t)host_codes >> (8U + (host_codes & 15U));
    return (uint32_t)value & 0xFFFFFFU;
}

uint8_t board_converter_byte(uint8_t out) {
    must(selected);
    if (answered < answers) {
        return answer[answered++];
    }
    if (to_write > 0) {
        registers[4U - to_write--] = out;
    } else if (out == 0x43U) {
        to_write = 4;
    } else if (out == 0x23U) {
        memcpy(answer, registers, sizeof answer);
        answers = 4;
        answered = 0;
    } else if (out == 0x08U) {
        uint8_t pace = registers[1] >> 5;
        ready_us = host_us + (pace == 0U ? 51200U : pace == 2U ? 11200U : 3200U);
    } else if (out == 0x10U) {
        uint32_t read = code();
        readings++;
        answer[0] = (uint8_t)(read >> 16);
        answer[1] = (uint8_t)(read >> 8);
        answer[2] = (uint8_t)read;
        answers = 3;
        answered = 0;
    }
    return 0xFF;
}
#endif

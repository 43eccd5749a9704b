/* A board in memory for the portable core: a clock that moves when somebody waits, pins on groups of joined
 * points, a line of bytes. Made for tests by ctypes and for fuzzing; aborts where the core breaks its word.
 */
#include "host_board.h"

#include <stdlib.h>
#include <string.h>

#include "board.h"
#include "limits.h"
#include "link.h"
#include "settings.h"
#include "watch.h"

#define EEPROM 4096U

uint64_t host_us;
uint8_t host_group[POINTS]; /* points with the same number are joined */
uint8_t host_out[HOST_ROOM];
uint32_t host_out_length;
static uint8_t in[HOST_ROOM];
static uint32_t in_length, in_at;
static uint8_t eeprom[EEPROM];
static points_t driven, pulled;
static points_t forced; /* high */
static bool ticking, locked;
static uint64_t tick_due;
static const char *sending;
static uint16_t sending_length;
static uint32_t send_calls;

static void must(bool it) {
    if (!it) {
        abort();
    }
}

static void pass(uint64_t us) {
    uint64_t until = host_us + us;
    while (ticking && !locked && tick_due <= until) {
        host_us = tick_due;
        tick_due += WATCH_TICK_US;
        watch_tick();
    }
    host_us = until > host_us ? until : host_us;
}

void host_reset(void) {
    memset(eeprom, 0xFF, sizeof eeprom);
    for (uint8_t i = 0; i < POINTS; i++) {
        host_group[i] = i;
    }
    in_length = in_at = host_out_length = 0;
    host_us = 0;
    ticking = locked = false;
    sending_length = 0;
    settings_load();
    link_power_on();
}

void host_feed(const uint8_t *data, uint32_t length) {
    if (in_at == in_length) {
        in_at = in_length = 0;
    }
    for (uint32_t i = 0; i < length && in_length < HOST_ROOM; i++) {
        in[in_length++] = data[i];
    }
}

void host_pass(uint32_t us) {
    pass(us);
    link_run();
    (void)board_sending();
    must((watch_running() || points_empty(&driven)) && points_empty(&forced));
}

void board_stamp(stamp_t *now) {
    now->laps = (uint32_t)(host_us >> 15);
    now->ticks = (uint16_t)((host_us & 0x7FFFU) << 1);
}

uint64_t board_stamp_us(const stamp_t *then) {
    return ((uint64_t)then->laps << 15) + (then->ticks >> 1);
}

uint64_t board_us(void) {
    host_us++; /* so that whoever waits for time is served */
    return host_us;
}

void board_kick(void) {
}

void board_points_start(void) {
    board_release();
}

uint8_t board_fault(void) {
    return 0;
}

void board_release(void) {
    memset(&driven, 0, sizeof driven);
    memset(&pulled, 0, sizeof pulled);
    memset(&forced, 0, sizeof forced);
}

void board_apply(const points_t *drive, const points_t *pull) {
    must(!points_meet(drive, pull));
    driven = *drive;
    pulled = *pull;
    memset(&forced, 0, sizeof forced);
}

#if TAPPED
void board_force(const points_t *high, const points_t *low) {
    must(!points_meet(high, low));
    board_release();
    forced = *high;
    driven = *low;
}
#endif

void board_read(points_t *low) {
    bool held[256] = {false}; /* by group */
    memset(low, 0, sizeof *low);
    for (uint8_t i = 0; i < POINTS; i++) {
        held[host_group[i]] |= points_has(&driven, i);
    }
    for (uint8_t i = 0; i < POINTS; i++) {
        if (held[host_group[i]]) {
            points_add(low, i);
        }
    }
}

void board_wait_us(uint32_t us) {
    pass(us);
}

uint16_t board_rise(point_t index, uint8_t phase) {
    must(index < POINTS && phase < POLL_CYCLES);
    return (uint16_t)(20U + host_group[index]);
}

void board_ticks(bool on) {
    ticking = on;
    locked = false;
    tick_due = host_us + WATCH_TICK_US;
}

void board_lock(void) {
    locked = true;
}

void board_unlock(void) {
    locked = false;
}

int16_t board_get(void) {
    return in_at < in_length ? in[in_at++] : -1;
}

uint16_t board_waiting(void) {
    return (uint16_t)(in_length - in_at > 255U ? 255U : in_length - in_at);
}

void board_send(const char *data, uint16_t length) {
    must(sending_length == 0);
    must(length > 0 && length <= LINE && data[length - 1U] == '\n');
    sending = data;
    sending_length = length;
    send_calls = 0;
}

/* What is sent is copied only at the second look, so that a buffer that is written over meanwhile shows. */
bool board_sending(void) {
    if (sending_length == 0) {
        return false;
    }
    if (++send_calls < 2U) {
        return true;
    }
    for (uint16_t i = 0; i < sending_length && host_out_length < HOST_ROOM; i++) {
        host_out[host_out_length++] = (uint8_t)sending[i];
    }
    sending_length = 0;
    return false;
}

bool board_can_rate(uint32_t rate) {
    return rate >= SLOWEST_RATE && rate <= FASTEST_RATE;
}

void board_rate(uint32_t rate) {
    must(board_can_rate(rate));
}

uint8_t board_eeprom_read(uint16_t at) {
    must(at < EEPROM);
    return eeprom[at];
}

void board_eeprom_write(uint16_t at, uint8_t value) {
    must(at < EEPROM);
    eeprom[at] = value;
}

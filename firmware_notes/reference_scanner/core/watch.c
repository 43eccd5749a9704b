#include "watch.h"

#include "board.h"

/* A cycle goes through all sets, and through the steps of each. A set whose net has few points takes one
 * step: everything is pulled up at once. A larger net's own points are pulled up half a port at a time, the
 * others always, so that no more than PULLS of them share the driver while nothing is wrong. With one step in
 * all nothing is ever switched, and every tick reads. */
static points_t driven[WATCH_SETS];
static points_t low_of[WATCH_SETS];
static points_t pulled_now;
static uint8_t set_count;
static uint8_t set_now;
static uint8_t phase_now;
static bool one_step;
/* What the next ticks do before they read again, each in a tick of its own, so that no interrupt takes the
 * line's time: find the next step, then switch to it. */
static enum { READS, FINDS, SWITCHES } next_tick;
static uint32_t step_ticks;
static uint32_t ticks_left;
static volatile bool running;
/* Time is the board's own: a step that takes longer than a tick loses ticks. */
static uint64_t started_us;
static uint64_t cycles;
/* Whether a set takes one step: four points or fewer read low in it. */
static bool few[WATCH_SETS];

static struct {
    stamp_t at;
    uint8_t index;
    points_t low;
} queue[QUEUED_EVENTS];
static uint32_t numbers[QUEUED_EVENTS];
static volatile uint8_t queue_first;
static volatile uint8_t queue_length;
static uint32_t events;
static uint32_t lost;

static void tell(uint8_t index) {
    if (queue_length < QUEUED_EVENTS) {
        uint8_t at = (uint8_t)((queue_first + queue_length) % QUEUED_EVENTS);
        board_stamp(&queue[at].at);
        queue[at].index = index;
        queue[at].low = low_of[index];
        numbers[at] = events;
        queue_length++;
    } else {
        lost++;
    }
    events++;
}

/* Counts no further than it must: this runs in the interrupt. */
static void weigh(uint8_t index) {
#if PHASES > 1
    uint8_t count = 0;
    for (uint8_t i = 0; i < SET_BYTES_HERE && count <= PULLS; i++) {
        uint8_t rest = low_of[index].byte[i];
        for (; rest != 0 && count <= PULLS; rest = (uint8_t)(rest & (rest - 1U))) {
            count++;
        }
    }
    few[index] = count <= PULLS;
#else
    few[index] = true;
#endif
}

/* Whether any point that reads low is pulled up in this phase. */
static bool concerned(uint8_t index, uint8_t phase) {
    return (low_of[index].byte[phase >> 1] & (phase & 1U ? 0xF0U : 0x0FU)) != 0;
}

/* Find the next step: this phase of this set or a later one, else the next set's first. True at a cycle's
 * end. */
static bool next_step(void) {
    bool ended = false;
    do {
        phase_now++;
        if (phase_now >= PHASES || few[set_now]) {
            phase_now = 0;
            set_now++;
            if (set_now >= set_count) {
                set_now = 0;
                ended = true;
            }
        }
        if (few[set_now] || concerned(set_now, phase_now)) {
            break;
        }
    } while (!ended || phase_now != 0);
    return ended;
}

static void apply_step(void) {
    const points_t *drive = &driven[set_now];
    const points_t *low = &low_of[set_now];
    bool all = few[set_now];
    uint8_t here = phase_now >> 1;
    uint8_t mine = phase_now & 1U ? 0xF0U : 0x0FU;
    for (uint8_t i = 0; i < SET_BYTES_HERE; i++) {
        uint8_t pull = all ? 0xFFU : (uint8_t)~low->byte[i];
        if (i == here) {
            pull |= mine;
        }
        pulled_now.byte[i] = (uint8_t)(pull & ~drive->byte[i]);
    }
    board_apply(drive, &pulled_now);
    one_step = all && set_count == 1U;
    ticks_left = step_ticks;
}

void watch_put(uint8_t index, const points_t *set, const points_t *seen) {
    driven[index] = *set;
    low_of[index] = *seen;
}

void watch_start(uint8_t count, uint32_t settle_us) {
    watch_stop();
    set_count = count;
    set_now = 0;
    phase_now = 0;
    step_ticks = (settle_us / WATCH_TICK_US + 2U);
    started_us = board_us();
    cycles = 0;
    events = 0;
    lost = 0;
    for (uint8_t i = 0; i < count; i++) {
        weigh(i);
        tell(i);
    }
    next_tick = READS;
    apply_step();
    running = true;
    board_ticks(true);
}

void watch_stop(void) {
    board_ticks(false);
    running = false;
    queue_length = 0;
    board_release();
}

bool watch_running(void) {
    return running;
}

/* Hold what was read against what was seen; true where it differs. What is neither pulled up nor driven keeps
 * what it showed. */
static bool compare(const points_t *read) {
    uint8_t differs = 0;
    points_t *low = &low_of[set_now];
    const points_t *drive = &driven[set_now];
    for (uint8_t i = 0; i < SET_BYTES_HERE; i++) {
        uint8_t known = pulled_now.byte[i] | drive->byte[i];
        uint8_t now = (uint8_t)((read->byte[i] & known) | (low->byte[i] & (uint8_t)~known));
        differs = (uint8_t)(differs | (now ^ low->byte[i]));
        low->byte[i] = now;
    }
    return differs != 0;
}

void watch_tick(void) {
    points_t read;
    if (next_tick == FINDS) {
        cycles += next_step() ? 1U : 0U;
        next_tick = SWITCHES;
        return;
    }
    if (next_tick == SWITCHES) {
        apply_step();
        next_tick = READS;
        return;
    }
    if (ticks_left > 0) { /* after what was switched: the settle time */
        ticks_left--;
        return;
    }
    board_read(&read);
    if (board_fault() != 0) {
        return; /* the main program sees it, and ends the watch */
    }
    if (compare(&read)) {
        weigh(set_now);
        tell(set_now);
    }
    if (one_step && few[set_now]) {
        cycles++;
    } else {
        next_tick = FINDS;
    }
}

void watch_counts(uint64_t *ran, uint32_t *told, uint32_t *dropped) {
    board_lock();
    *ran = cycles;
    *told = events;
    *dropped = lost + queue_length; /* what waits now is never sent once the watch ends */
    board_unlock();
}

uint64_t watch_us(void) {
    return board_us() - started_us;
}

bool watch_next(event_t *event, uint32_t *number) {
    stamp_t at = {0, 0};
    board_lock();
    bool any = queue_length > 0;
    if (any) {
        at = queue[queue_first].at;
        event->index = (int8_t)queue[queue_first].index;
        event->low = queue[queue_first].low;
        *number = numbers[queue_first];
        queue_first = (uint8_t)((queue_first + 1U) % QUEUED_EVENTS);
        queue_length--;
    }
    board_unlock();
    event->us = board_stamp_us(&at) - started_us;
    return any;
}

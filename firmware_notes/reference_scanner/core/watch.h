/* Watching: sets sensed over and over from an interrupt, changes told as events. */
#ifndef WATCH_H
#define WATCH_H

#include <stdbool.h>
#include <stdint.h>

#include "points.h"

typedef struct {
    uint64_t us;
    int8_t index; /* of the set; -1 for the end */
    points_t low;
} event_t;

bool watch_running(void);
/* Put in a set, and what it showed when it was sensed just before, which makes its first event. */
void watch_put(uint8_t index, const points_t *set, const points_t *seen);
/* Begin with the first `count` sets that were put in. */
void watch_start(uint8_t count, uint32_t settle_us);
/* End, released; events that wait are dropped. */
void watch_stop(void);
/* What has run so far. */
void watch_counts(uint64_t *ran, uint32_t *told, uint32_t *dropped);
/* Take the next event and its number; false where none waits. */
bool watch_next(event_t *event, uint32_t *number);
/* An event that a sender had no room for counts as lost; nothing here drops one but a full queue. */
void watch_tick(void); /* from the board's interrupt */
/* Microseconds of the watch's own clock. */
uint64_t watch_us(void);

#endif

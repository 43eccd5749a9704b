/* Point sets: one bit a point, bit 0 of byte 0 is point 1. */
#ifndef POINTS_H
#define POINTS_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"

typedef struct {
    uint8_t byte[SET_BYTES];
} points_t;

bool points_empty(const points_t *set);
bool points_meet(const points_t *a, const points_t *b);
bool points_same(const points_t *a, const points_t *b);
point_t points_count(const points_t *set);
/* The first point's index from 0; the set must not be empty. */
point_t points_first(const points_t *set);

static inline bool points_has(const points_t *set, point_t index) {
    return (set->byte[index >> 3] >> (index & 7U)) & 1U;
}

static inline void points_add(points_t *set, point_t index) {
    set->byte[index >> 3] = (uint8_t)(set->byte[index >> 3] | (1U << (index & 7U)));
}

#endif

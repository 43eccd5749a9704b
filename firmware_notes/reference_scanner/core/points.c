#include "points.h"

bool points_empty(const points_t *set) {
    uint8_t any = 0;
    for (uint8_t i = 0; i < SET_BYTES_HERE; i++) {
        any |= set->byte[i];
    }
    return any == 0;
}

bool points_meet(const points_t *a, const points_t *b) {
    uint8_t any = 0;
    for (uint8_t i = 0; i < SET_BYTES_HERE; i++) {
        any = (uint8_t)(any | (a->byte[i] & b->byte[i]));
    }
    return any != 0;
}

bool points_same(const points_t *a, const points_t *b) {
    uint8_t differs = 0;
    for (uint8_t i = 0; i < SET_BYTES_HERE; i++) {
        differs = (uint8_t)(differs | (a->byte[i] ^ b->byte[i]));
    }
    return differs == 0;
}

point_t points_count(const points_t *set) {
    point_t count = 0;
    for (uint8_t i = 0; i < SET_BYTES_HERE; i++) {
        for (uint8_t rest = set->byte[i]; rest != 0; rest = (uint8_t)(rest & (rest - 1U))) {
            count++;
        }
    }
    return count;
}

point_t points_first(const points_t *set) {
    point_t index = 0;
    while (index < POINTS_HERE - 1U && !points_has(set, index)) {
        index++;
    }
    return index;
}

#include "words.h"

#include <stddef.h>

#include "errors.h"
#include "flash.h"

uint16_t words_in(word_t rest) {
    word_t word;
    uint16_t count = 0;
    while (next_word(&rest, &word)) {
        count++;
    }
    return count;
}

bool take_set(word_t *rest, points_t *set, out_t *out) {
    word_t word;
    set_result_t result = next_word(rest, &word) ? read_set(word, set) : SET_NO_SET;
    if (result == SET_NO_SET) {
        refuse(out, -104, TEXT("Data type error; a point set is expected"));
    } else if (result == SET_TOO_FAR) {
        refuse(out, -222, TEXT("Data out of range; there are not so many points"));
    }
    return result == SET_GOOD;
}

bool take_pair(word_t *rest, points_t *a, points_t *b, out_t *out) {
    if (!take_set(rest, a, out) || !take_set(rest, b, out)) {
        return false;
    }
    if (points_empty(a) || points_empty(b)) {
        refuse(out, -222, TEXT("Data out of range; an empty set"));
        return false;
    }
    if (points_meet(a, b)) {
        refuse(out, -221, TEXT("Settings conflict; a point on both buses"));
        return false;
    }
    return true;
}

bool take_number(word_t *rest, float *value, out_t *out) {
    word_t word;
    if (next_word(rest, &word) && read_number(word, value)) {
        return true;
    }
    refuse(out, -104, TEXT("Data type error; a number is expected"));
    return false;
}

/* Every set of a list must be good before anything is done for one of them. */
bool all_sets(word_t rest, out_t *out) {
    points_t set;
    while (rest.at != NULL) {
        if (!take_set(&rest, &set, out)) {
            return false;
        }
    }
    return true;
}

/* A command's words, taken one after the other; what is wrong with one is refused here. */
#ifndef WORDS_H
#define WORDS_H

#include "text.h"

uint16_t words_in(word_t rest);
/* Each takes the next word or words off `rest`; false where it has refused. */
bool take_set(word_t *rest, points_t *set, out_t *out);
bool take_pair(word_t *rest, points_t *a, points_t *b, out_t *out);
bool take_number(word_t *rest, float *value, out_t *out);
/* Whether every word is a set: all must be good before anything is done for one of them. */
bool all_sets(word_t rest, out_t *out);

#endif

/* Text in and out, into buffers whose end is always known. */
#ifndef TEXT_H
#define TEXT_H

#include <stdbool.h>
#include <stdint.h>

#include "points.h"

/* A buffer that is written to: what does not fit is left out, and `over` says so. */
typedef struct {
    char *at;
    uint16_t length;
    uint16_t room;
    bool over;
} out_t;

void put_char(out_t *out, char c);
/* A text in flash. */
void put_text(out_t *out, const char *flash_text);
void put_u32(out_t *out, uint32_t value);
void put_u64(out_t *out, uint64_t value);
/* Eight upper-case hex digits. */
void put_hex32(out_t *out, uint32_t value);
void put_hex8(out_t *out, uint8_t value);
void put_set(out_t *out, const points_t *set);
/* IEEE 488.2 with six significant digits; infinity is 9.9E37, no number 9.91E37. */
void put_number(out_t *out, float value);

/* A part of a line that is read: from `at`, `length` bytes. */
typedef struct {
    const char *at;
    uint16_t length;
} word_t;

/* Take the next word up to a comma off the front of `rest`; false where none is left. */
bool next_word(word_t *rest, word_t *word);
/* 15 for F and f, 16 for what is no hex digit. */
uint8_t hex_digit(char c);
typedef enum { SET_GOOD, SET_NO_SET, SET_TOO_FAR } set_result_t;
set_result_t read_set(word_t word, points_t *set);
/* A decimal of IEEE 488.2 that is not negative. False for anything else. */
bool read_number(word_t word, float *value);
bool same_text(word_t word, const char *flash_text);

#endif

#include "errors.h"

#include "flash.h"
#include "limits.h"

typedef struct {
    int16_t code;
    const char *text;
} error_t;

static error_t queue[QUEUED_ERRORS];
static uint8_t first;
static uint8_t length;

static void put_error(out_t *out, int16_t code, const char *flash_text) {
    if (code < 0) {
        put_char(out, '-');
    }
    put_u32(out, (uint32_t)(code < 0 ? -code : code));
    put_char(out, ',');
    put_char(out, '"');
    put_text(out, flash_text);
    put_char(out, '"');
}

void errors_add(int16_t code, const char *flash_text) {
    if (length == QUEUED_ERRORS) {
        uint8_t last = (uint8_t)((first + QUEUED_ERRORS - 1U) % QUEUED_ERRORS);
        queue[last] = (error_t){-350, TEXT("Queue overflow")};
        return;
    }
    queue[(first + length) % QUEUED_ERRORS] = (error_t){code, flash_text};
    length++;
}

void refuse(out_t *out, int16_t code, const char *flash_text) {
    errors_add(code, flash_text);
    out->length = 0;
    out->over = false;
    put_text(out, TEXT("ERR "));
    put_error(out, code, flash_text);
}

void errors_next(out_t *out) {
    if (length == 0) {
        put_error(out, 0, TEXT("No error"));
        return;
    }
    put_error(out, queue[first].code, queue[first].text);
    first = (uint8_t)((first + 1U) % QUEUED_ERRORS);
    length--;
}

void errors_clear(void) {
    first = 0;
    length = 0;
}

#include "link.h"

#include <string.h>

#include "board.h"
#include "commands.h"
#include "crc32.h"
#include "flash.h"
#include "limits.h"
#include "measure.h"
#include "text.h"
#include "watch.h"

#define NONCE_BYTES 8U

static link_state_t state;
static char nonce[NONCE_BYTES];
static uint8_t sequence;
static uint32_t rate_now = FIRST_RATE;
static uint64_t command_end_us;
static uint64_t line_good_us;
static uint64_t trial_end_us; /* 0: no trial */

/* One buffer takes the line that comes, the other holds the one that was executed last. */
static char lines[2][LINE];
static uint8_t coming;
static uint16_t length;
static bool overlong;
static uint16_t stored_length; /* 0: none */

static char reply[LINE];
static uint16_t reply_length;
static char event_line[CHECKED_FRAME + EVENT_BODY + SET_TEXT];

/* Bytes that had come by the end of the last command: lines within them came while it was executed. */
static uint16_t busy_bytes;
static bool resent_busy;

static void close_link(void) {
    state.open = false;
    stored_length = 0;
    resent_busy = false;
    trial_end_us = 0;
    if (rate_now != FIRST_RATE) {
        rate_now = FIRST_RATE;
        board_rate(FIRST_RATE);
    }
}

void link_power_on(void) {
    memset(&state, 0, sizeof state);
    length = 0;
    overlong = false;
    busy_bytes = 0;
    sequence = 0;
    command_end_us = 0;
    line_good_us = 0;
    commands_power_on();
    close_link();
}

static uint32_t crc_of(bool with_nonce, const char *bytes, uint16_t count) {
    uint32_t crc = CRC32_START;
    for (uint8_t i = 0; with_nonce && i < NONCE_BYTES; i++) {
        crc = crc32_byte(crc, (uint8_t)nonce[i]);
    }
    for (uint16_t i = 0; i < count; i++) {
        crc = crc32_byte(crc, (uint8_t)bytes[i]);
    }
    return crc32_end(crc);
}

/* Put check and LF behind a line of `count` bytes that begins with its colon; return its whole length. */
static uint16_t seal(char *line, uint16_t count, bool with_nonce) {
    uint32_t crc = crc_of(with_nonce, line + 1, (uint16_t)(count - 1U));
    out_t out = {line + count, 0, 10U, false};
    put_char(&out, '*');
    put_hex32(&out, crc);
    put_char(&out, '\n');
    return (uint16_t)(count + out.length);
}

static void wait_sent(void) {
    while (board_sending()) {
        board_kick();
    }
}

static void send_reply(void) {
    wait_sent();
    board_send(reply, reply_length);
}

static void good(void) {
    state.lines++;
    line_good_us = board_us();
    trial_end_us = 0;
}

/* Upper-case hex only, as the frame has it. */
static bool read_hex(const char *at, uint8_t digits, uint32_t *value) {
    *value = 0;
    for (uint8_t i = 0; i < digits; i++) {
        uint8_t digit = hex_digit(at[i]);
        if (digit > 15U || at[i] >= 'a') {
            return false;
        }
        *value = (*value << 4) | digit;
    }
    return true;
}

/* The line that has come becomes the stored one, whose reply stands in `reply`. */
static void store(void) {
    stored_length = length;
    coming ^= 1U;
    resent_busy = false;
    busy_bytes = board_waiting();
    command_end_us = board_us();
}

static void send_event(const event_t *event, uint32_t number);

/* What a watch has found goes out before the reply that may end it. */
static void flush_events(void) {
    event_t event;
    uint32_t number;
    for (uint8_t i = 0; i < QUEUED_EVENTS && watch_running() && watch_next(&event, &number); i++) {
        wait_sent();
        send_event(&event, number);
    }
    wait_sent();
}

static void plain(const char *line) {
    if (state.open) {
        state.dropped++;
        return;
    }
    good();
    flush_events();
    out_t out = {reply, 0, LINE - PLAIN_FRAME, false};
    uint32_t rate = 0;
    (void)commands_run((word_t){line, length}, PLAIN_FRAME, &state, &out, &rate);
    reply[out.length] = '\n';
    reply_length = (uint16_t)(out.length + 1U);
    stored_length = 0; /* whatever was stored has lost its reply */
    busy_bytes = board_waiting();
    send_reply();
}

/* Begin a reply with this line's colon and number; its body goes behind. */
static out_t begin_reply(const char *line) {
    flush_events();
    memcpy(reply, line, 3);
    return (out_t){reply + 3, 0, LINE - CHECKED_FRAME, false};
}

static void open_link(const char *line, word_t word) {
    uint32_t value;
    state.lines++;
    line_good_us = board_us();
    out_t out = begin_reply(line);
    if (word.at == 0 || word.length != NONCE_BYTES || !read_hex(word.at, NONCE_BYTES, &value)) {
        commands_refuse_nonce(&out);
        /* The stored line's reply is overwritten, so that it cannot be sent again. */
        stored_length = 0;
        reply_length = seal(reply, (uint16_t)(out.length + 3U), false);
        send_reply();
        return;
    }
    commands_release();
    trial_end_us = 0;
    state.open = true;
    memcpy(nonce, word.at, NONCE_BYTES);
    (void)read_hex(line + 1, 2, &value);
    sequence = (uint8_t)value;
    memcpy(out.at, word.at, NONCE_BYTES);
    reply_length = seal(reply, NONCE_BYTES + 3U, false);
    store();
    send_reply();
}

static void execute(const char *line, word_t body) {
    uint32_t rate = 0;
    sequence++;
    good();
    out_t out = begin_reply(line);
    then_t then = commands_run(body, CHECKED_FRAME, &state, &out, &rate);
    reply_length = seal(reply, (uint16_t)(out.length + 3U), true);
    store();
    send_reply();
    if (then == THEN_CLOSE) {
        wait_sent();
        close_link();
    } else if (then == THEN_RATE) {
        wait_sent();
        rate_now = rate;
        board_rate(rate);
        trial_end_us = board_us() + RATE_TRIAL_US;
    }
}

static void repeat(bool while_busy) {
    good();
    state.repeated++;
    if (while_busy) {
        if (resent_busy) {
            return;
        }
        resent_busy = true;
    }
    send_reply();
}

static void checked(const char *line, bool while_busy) {
    uint16_t star = (uint16_t)(length - 9U);
    uint32_t number;
    uint32_t check;
    if (length < 12U || line[star] != '*' || !read_hex(line + 1, 2, &number) ||
        !read_hex(line + star + 1, 8, &check)) {
        state.dropped++;
        return;
    }
    word_t body = {line + 3, (uint16_t)(star - 3U)};
    word_t word;
    bool opening = commands_opens(body, &word);
    bool good_line = (opening || state.open) && crc_of(!opening, line + 1, (uint16_t)(star - 1U)) == check;
    if (good_line && stored_length == length && memcmp(line, lines[coming ^ 1U], length) == 0) {
        repeat(while_busy);
    } else if (good_line && opening) {
        open_link(line, word);
    } else if (good_line && number == (uint8_t)(sequence + 1U)) {
        execute(line, body);
    } else {
        state.dropped++;
    }
}

static void take_line(bool while_busy) {
    const char *line = lines[coming];
    if (length > 0 && line[length - 1U] == '\r') {
        length--;
    }
    if (length > 0 && line[0] == ':') {
        checked(line, while_busy);
    } else if (length > 0) {
        plain(line);
    }
    length = 0;
}

static void take_byte(char byte, bool while_busy) {
    if (overlong) {
        overlong = byte != '\n';
    } else if (byte == '\n') {
        take_line(while_busy);
    } else if (length >= LINE - 1U) { /* with its LF it is over LINE */
        length = 0;
        overlong = true;
        state.dropped++;
    } else {
        lines[coming][length++] = byte;
    }
}

static void expire(void) {
    uint64_t now = board_us();
    bool trial_over = trial_end_us != 0 && now > trial_end_us;
    bool idle = state.open && now > command_end_us + IDLE_CLOSE_US;
    if (trial_over || idle) {
        commands_release();
        wait_sent();
        close_link();
    }
}

static void send_event(const event_t *event, uint32_t number) {
    out_t out = {event_line, 0, sizeof event_line - 10U, false};
    if (state.open) {
        put_text(&out, TEXT(":!"));
    }
    put_char(&out, '!');
    put_u32(&out, number);
    put_char(&out, ',');
    put_u64(&out, event->us);
    put_char(&out, ',');
    if (event->index < 0) {
        put_char(&out, '-');
    }
    put_u32(&out, (uint32_t)(event->index < 0 ? -event->index : event->index));
    put_char(&out, ',');
    put_set(&out, &event->low);
    uint16_t count = out.length;
    if (state.open) {
        count = seal(event_line, count, true);
    } else {
        event_line[count++] = '\n';
    }
    board_send(event_line, count);
}

static void run_watch(void) {
    event_t event;
    uint32_t number;
    if (!watch_running()) {
        return;
    }
    bool part_lost = board_fault() != 0;
    if (part_lost || board_us() > line_good_us + WATCH_IDLE_US) {
        uint64_t cycles;
        uint32_t lost;
        watch_counts(&cycles, &number, &lost);
        event = (event_t){watch_us(), -1, {{0}}};
        if (part_lost) {
            measure_lost();
        }
        watch_stop();
        wait_sent();
        send_event(&event, number);
    } else if (!board_sending() && watch_next(&event, &number)) {
        send_event(&event, number);
    }
}

void link_run(void) {
    int16_t byte;
    while ((byte = board_get()) >= 0) {
        bool while_busy = busy_bytes > 0;
        if (while_busy) {
            busy_bytes--;
        }
        take_byte((char)byte, while_busy);
    }
    expire();
    run_watch();
}

bool link_idle(void) {
    return board_waiting() == 0;
}

/* The portable core under libFuzzer; TARGET is one of LINK, PARSER, SCAN, WATCH, OHMS. What an input means:
 *
 * LINK    raw bytes of the line, with time passing at each 0xFF
 * OHMS    what converter and taps do, then lines as PARSER's, on a calibrated board that has them
 * PARSER  lines, sealed here as a good host would, so that bodies get past the check
 * SCAN    which points are joined, then sets to drive: every answer against the groups
 * WATCH   a watch, and changes of the groups while it runs: events against the groups
 *
 * The board in memory aborts where the core breaks its word: a pin both driven and pulled up, something
 * driven between commands, a reply written over while it is sent, a line over LINE or without its LF. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "crc32.h"
#include "host_board.h"
#include "host_taps.h"
#include "limits.h"
#include "ohms.h"
#include "settings.h"

#define LINK 1
#define PARSER 2
#define SCAN 3
#define WATCH 4
#define OHMS 5

static const char nonce[] = "1234ABCD";
static uint8_t number;

static void must(int it) {
    if (!it) {
        abort();
    }
}

static uint32_t check_of(const char *covered, size_t length, int with_nonce) {
    uint32_t crc = CRC32_START;
    for (int i = 0; with_nonce && i < 8; i++) {
        crc = crc32_byte(crc, (uint8_t)nonce[i]);
    }
    for (size_t i = 0; i < length; i++) {
        crc = crc32_byte(crc, (uint8_t)covered[i]);
    }
    return crc32_end(crc);
}

/* Send a body as the next line, let it be answered, and return the answer's body in `answer`. */
static void ask(const char *body, size_t length, char *answer, size_t room) {
    char line[1024];
    must(length < sizeof line - 32U);
    number++;
    int opening =
        length >= 14U && strncasecmp(body, "SYST:LINK:OPEN", 14) == 0 && (length == 14U || body[14] == ' ');
    int head = snprintf(line, sizeof line, ":%02X", number);
    memcpy(line + head, body, length);
    size_t end = (size_t)head + length;
    end += (size_t)snprintf(line + end, 16, "*%08X\n", check_of(line + 1, end - 1U, !opening));
    host_out_length = 0;
    host_feed((const uint8_t *)line, (uint32_t)end);
    for (int i = 0; i < 4; i++) {
        host_pass(10);
    }
    answer[0] = 0;
    /* The reply is the line that is no watch event. */
    must(host_out[host_out_length - 1U] == '\n');
    uint32_t start = 0;
    uint32_t count = 0;
    for (uint32_t at = 0; at < host_out_length;) {
        uint32_t length_here =
            (uint32_t)((uint8_t *)memchr(host_out + at, '\n', host_out_length - at) - host_out) + 1U - at;
        if (memcmp(host_out + at, ":!!", 3) != 0) {
            must(count == 0);
            start = at;
            count = length_here;
        }
        at += length_here;
    }
    if (count == 0) {
        return;
    }
    must(count <= LINE && count >= CHECKED_FRAME && host_out[start] == ':');
    char sent[12];
    (void)snprintf(sent, sizeof sent, "*%08X\n",
                   check_of((const char *)host_out + start + 1U, count - 11U, !opening));
    must(memcmp(host_out + start + count - 10U, sent, 10) == 0);
    must(memcmp(host_out + start, line, 3) == 0);
    must(count - CHECKED_FRAME < room);
    memcpy(answer, host_out + start + 3U, count - CHECKED_FRAME);
    answer[count - CHECKED_FRAME] = 0;
}

static void open_link(void) {
    char answer[LINE + 1U];
    host_reset();
    number = 0;
    ask("SYST:LINK:OPEN 1234ABCD", 23, answer, sizeof answer);
    must(strcmp(answer, nonce) == 0);
}

/* What is joined to this set, as 64 bits. */
static uint64_t joined(uint64_t set) {
    uint64_t found = 0;
    for (unsigned i = 0; i < POINTS; i++) {
        for (unsigned j = 0; j < POINTS; j++) {
            if ((set >> j & 1U) && host_group[i] == host_group[j]) {
                found |= 1ULL << i;
            }
        }
    }
    return found;
}

static uint64_t take_set(const uint8_t **data, size_t *size) {
    uint64_t set = 0;
    for (unsigned i = 0; i < 8U && *size > 0; i++, (*data)++, (*size)--) {
        set |= (uint64_t) * *data << (8U * i);
    }
    return set;
}

static void take_groups(const uint8_t **data, size_t *size) {
    for (unsigned i = 0; i<POINTS && * size> 0; i++, (*data)++, (*size)--) {
        host_group[i] = **data % POINTS;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char answer[LINE + 1U];
#if TARGET == LINK
    host_reset();
    for (size_t i = 0; i < size; i++) {
        if (data[i] == 0xFFU) {
            i++;
            host_pass(i < size ? data[i] * 50000U : 1U);
        } else {
            host_feed(data + i, 1);
        }
    }
    host_pass(100);
    host_pass(6000000);
    host_pass(6000000);
    host_feed((const uint8_t *)"\n", 1); /* as a host does that does not know what stands there */
    for (int i = 0; i < 4; i++) {
        host_pass(100);
    }
    number = 0x55;
    ask("SYST:LINK:OPEN 1234ABCD", 23, answer, sizeof answer);
    must(strcmp(answer, nonce) == 0);
    ask("SENS:SETT?", 10, answer, sizeof answer);
    must(answer[0] != 0);
#elif TARGET == PARSER || TARGET == OHMS
#if TARGET == OHMS
    if (size < 4U) {
        return 0;
    }
    host_broken = false;
    host_stops = 0;
    host_codes = data[0] | (uint32_t)data[1] << 8;
#endif
    open_link();
#if TARGET == OHMS
    must(ohms_fitted());
    settings.ohms = 1U;
    host_stops = data[2];
    host_broken = data[3] == 0xFFU;
    data += 4;
    size -= 4;
#endif
    while (size > 0) {
        const uint8_t *end = memchr(data, '\n', size);
        size_t length = end ? (size_t)(end - data) : size;
        size_t taken = end ? length + 1U : size;
        char body[LINE] = {0};
        size_t kept = length > LINE - CHECKED_FRAME ? LINE - CHECKED_FRAME : length;
        memcpy(body, data, kept);
        data += taken;
        size -= taken;
        ask(body, kept, answer, sizeof answer);
        must(answer[0] != 0);
        if (strncasecmp(body, "SYST:LINK:", 10) == 0 || memcmp(answer, "OK", 2) == 0) {
            open_link(); /* whatever it closed or opened */
        }
    }
#elif TARGET == SCAN
    open_link();
    take_groups(&data, &size);
    while (size > 0) {
        uint64_t one = take_set(&data, &size);
        uint64_t two = take_set(&data, &size);
        char body[128];
        int length = snprintf(body, sizeof body, "SENS:DRIV? #H%llX,#H0%llx", (unsigned long long)one,
                              (unsigned long long)two);
        char expected[128];
        (void)snprintf(expected, sizeof expected, "#H%llX,#H%llX", (unsigned long long)joined(one),
                       (unsigned long long)joined(two));
        ask(body, (size_t)length, answer, sizeof answer);
        must(strcmp(answer, expected) == 0);
    }
#else
    open_link();
    take_groups(&data, &size);
    unsigned count = size > 0 ? *data % 4U + 1U : 1U;
    uint64_t sets[4];
    char body[160] = "WATC:STAR ";
    ask("SENS:SETT 100", 13, answer, sizeof answer);
    for (unsigned i = 0; i < count; i++) {
        sets[i] = take_set(&data, &size);
        (void)snprintf(body + strlen(body), 32, "%s#H%llX", i ? "," : "", (unsigned long long)sets[i]);
    }
    ask(body, strlen(body), answer, sizeof answer);
    must(strcmp(answer, "OK") == 0);
    uint64_t seen[4] = {0};
    unsigned long next = 0;
    for (int turn = 0; turn < 10; turn++) {
        /* What came with the reply of the last command is looked at as well. */
        for (int i = 0; i < 40; i++) {
            host_pass(1000);
        }
        host_out[host_out_length < HOST_ROOM ? host_out_length : HOST_ROOM - 1U] = 0;
        for (char *at = strstr((char *)host_out, ":!!"); at != NULL; at = strstr(at + 1, ":!!")) {
            unsigned long event;
            unsigned long long us, low;
            int index;
            must(sscanf(at, ":!!%lu,%llu,%d,#H%llX", &event, &us, &index, &low) == 4);
            must(event == next && index >= 0 && index < (int)count);
            next++;
            seen[index] = low;
        }
        for (unsigned i = 0; i < count; i++) {
            must(seen[i] == joined(sets[i]));
        }
        if (size < 2U) {
            break;
        }
        host_group[data[0] % POINTS] = data[1] % POINTS;
        data += 2;
        size -= 2;
        ask("SYST:LINK?", 10, answer, sizeof answer);
    }
    ask("WATC:STOP", 9, answer, sizeof answer);
    unsigned long long cycles, events, lost;
    must(sscanf(answer, "%llu,%llu,%llu", &cycles, &events, &lost) == 3);
    must(lost == 0 && events >= next && cycles > 0);
#endif
    return 0;
}

#include "commands.h"

#include <string.h>

#include "board.h"
#include "calibrate.h"
#include "errors.h"
#include "flash.h"
#include "limits.h"
#include "measure.h"
#include "ohm_commands.h"
#include "ohms.h"
#include "scan.h"
#include "settings.h"
#include "watch.h"
#include "words.h"

typedef enum {
    IDENTIFY,
    RESET,
    TEST,
    CLEAR,
    NEXT_ERROR,
    CAPABILITIES,
    OPEN_LINK,
    CLOSE_LINK,
    LINK_COUNTS,
    SET_RATE,
    RELEASE,
    SET_SETTLE,
    GET_SETTLE,
    DRIVE,
#if RISES
    FARADS,
    CAP_OPEN,
    CAP_REF,
#endif
    WATCH_START,
    WATCH_STOP,
    SERIAL,
    DATE,
#if TAPPED
    OHMS,
    VOLTS,
    DIODE,
    RES_REF,
    RES_PLUG,
#endif
    LACKING,
    COMMANDS
} command_t;

#define ANY_WORDS 255U
#define HEADER_BYTES 15U

typedef struct {
    char header[HEADER_BYTES];
    uint8_t command;
    uint8_t words;
    uint8_t while_watching;
} entry_t;

static const entry_t table[] IN_FLASH = {
    {"SENS:DRIV?", DRIVE, ANY_WORDS, 0},
    {"SYST:LINK?", LINK_COUNTS, 0, 1},
    {"*IDN?", IDENTIFY, 0, 1},
    {"*RST", RESET, 0, 1},
    {"*TST?", TEST, 0, 0},
    {"*CLS", CLEAR, 0, 0},
    {"SYST:ERR?", NEXT_ERROR, 0, 1},
    {"SYST:CAP?", CAPABILITIES, 0, 1},
    {"SYST:LINK:OPEN", OPEN_LINK, 1, 1},
    {"SYST:LINK:CLOS", CLOSE_LINK, 0, 0},
    {"SYST:BAUD", SET_RATE, 1, 0},
    {"ROUT:OPEN:ALL", RELEASE, 0, 1},
    {"SENS:SETT", SET_SETTLE, 1, 0},
    {"SENS:SETT?", GET_SETTLE, 0, 0},
#if RISES
    {"MEAS:CAP?", FARADS, 2, 0},
    {"CAL:CAP:OPEN", CAP_OPEN, 1, 0},
    {"CAL:CAP:REF", CAP_REF, 2, 0},
#else
    {"MEAS:CAP?", LACKING, 2, 0},
#endif
    {"WATC:STAR", WATCH_START, ANY_WORDS, 0},
    {"WATC:STOP", WATCH_STOP, 0, 1},
    {"CAL:SER", SERIAL, 1, 0},
    {"CAL:DATE", DATE, 1, 0},
#if TAPPED
    {"MEAS:VOLT?", VOLTS, 2, 0},
    {"MEAS:RES?", OHMS, 2, 0},
    {"MEAS:DIOD?", DIODE, 2, 0},
    {"CAL:RES:REF", RES_REF, 3, 0},
    {"CAL:RES:PLUG", RES_PLUG, 1, 0},
#else
    {"MEAS:VOLT?", LACKING, 2, 0},
    {"MEAS:RES?", LACKING, 2, 0},
    {"MEAS:DIOD?", LACKING, 2, 0},
#endif
    {"MEAS:FRES?", LACKING, 2, 0},
    {"MEAS:INS?", LACKING, 4, 0},
    {"MEAS:TEMP?", LACKING, 0, 1},
    {"SYST:ARM", LACKING, 1, 0},
};

#define ENTRIES ((uint8_t)(sizeof table / sizeof table[0]))

static uint32_t settle_us = SETTLE_DEFAULT_US;

void commands_power_on(void) {
    settle_us = SETTLE_DEFAULT_US;
    errors_clear();
    commands_release();
#if TAPPED
    ohms_find();
#endif
}

void commands_release(void) {
    watch_stop();
    board_points_start();
}

/* The header is the body up to its first space; `rest` is what stands behind that, none without a space. */
static bool split(word_t body, word_t *header, word_t *rest) {
    *header = body;
    header->length = 0;
    while (header->length < body.length && body.at[header->length] != ' ') {
        header->length++;
    }
    rest->at = 0;
    rest->length = 0;
    if (header->length == body.length) {
        return true;
    }
    rest->at = body.at + header->length + 1U;
    rest->length = (uint16_t)(body.length - header->length - 1U);
    return rest->length > 0 && memchr(rest->at, ' ', rest->length) == NULL;
}

static void set_settle(word_t rest, out_t *out) {
    float value;
    if (!take_number(&rest, &value, out)) {
        return;
    }
    if (value < (float)SETTLE_LEAST_US || value > (float)SETTLE_MOST_US) {
        refuse(out, -222, TEXT("Data out of range; 100 to 10000000 us"));
        return;
    }
    settle_us = (uint32_t)(value + 0.5F);
    put_text(out, TEXT("OK"));
}

static void identify(out_t *out) {
    put_text(out, TEXT("loomproof,reference scanner,"));
    for (uint8_t i = 0; i < SERIAL_BYTES - 1U && settings.serial[i] != 0; i++) {
        put_char(out, settings.serial[i]);
    }
    put_text(out, TEXT(",1.0"));
}

#define STRING_(x) #x
#define STRING(x) STRING_(x)

static void capabilities(out_t *out) {
    put_text(out, TEXT("LINK=1,POINTS="));
    put_u32(out, POINTS_HERE);
    put_text(out, TEXT(",LINE="));
    put_u32(out, LINE);
    put_text(out, TEXT(",SENSE=" STRING(SENSE_OHM) ",CLEAR=" STRING(CLEAR_OHM) ",DRIVR=" STRING(DRIVER_OHM)));
#if PHASES > 1
    put_text(out, TEXT(",PULLS="));
    put_u32(out, PULLS);
#endif
    put_text(out, TEXT(",SETTLE="));
    put_u32(out, SETTLE_LEAST_US);
    put_text(out, TEXT(",MSTIME=" READING_MS ",TESTI=" TEST_AMPERE ",TESTV=5.25,WATCH="));
    put_u32(out, WATCH_TICK_US);
#if RISES
    if (settings.calibrated) {
        put_text(out, TEXT(",CAPF=0:1E-8,CACC="));
        put_number(out, calibrate_error());
        put_text(out, TEXT(":0.03,CREP=1E-12"));
    }
#endif
#if TAPPED
    put_ohm_capabilities(out);
#endif
    put_text(out, TEXT(",BAUD="));
    put_u32(out, FASTEST_RATE);
}

static then_t set_rate(word_t rest, const link_state_t *link, out_t *out, uint32_t *rate) {
    float value;
    if (!take_number(&rest, &value, out)) {
        return THEN_NOTHING;
    }
    if (!link->open) {
        refuse(out, -221, TEXT("Settings conflict; no link is open"));
        return THEN_NOTHING;
    }
    if (value < (float)SLOWEST_RATE || value > (float)FASTEST_RATE || !board_can_rate((uint32_t)value)) {
        refuse(out, -222, TEXT("Data out of range; 300 to 250000, as the clock divides"));
        return THEN_NOTHING;
    }
    *rate = (uint32_t)value;
    put_text(out, TEXT("OK"));
    return THEN_RATE;
}

static uint8_t find(word_t header) {
    for (uint8_t i = 0; i < ENTRIES; i++) {
        if (same_text(header, table[i].header)) {
            return i;
        }
    }
    return 255U;
}

bool commands_opens(word_t body, word_t *nonce) {
    word_t header;
    (void)split(body, &header, nonce);
    return same_text(header, TEXT("SYST:LINK:OPEN"));
}

void commands_refuse_nonce(out_t *out) {
    refuse(out, -102, TEXT("Syntax error; a nonce of eight hex digits is expected"));
}

static bool fits(word_t rest, uint8_t wanted, out_t *out) {
    uint16_t count = words_in(rest);
    if (wanted == ANY_WORDS ? count == 0 : count < wanted) {
        refuse(out, -109, TEXT("Missing parameter"));
        return false;
    }
    if (wanted != ANY_WORDS && count > wanted) {
        refuse(out, -108, TEXT("Parameter not allowed"));
        return false;
    }
    return true;
}

static void self_test(out_t *out) {
    uint16_t fault = scan_self_test();
#if TAPPED
    if (fault == 0 && (ohms_fitted() || settings.ohms)) {
        fault = ohms_self_test();
    }
#endif
    if (fault != 0) {
        errors_add(-330, TEXT("Self-test failed"));
    }
    put_u32(out, fault);
}

static void link_counts(const link_state_t *link, out_t *out) {
    put_u32(out, link->lines);
    put_char(out, ',');
    put_u32(out, link->dropped);
    put_char(out, ',');
    put_u32(out, link->repeated);
}

then_t commands_run(word_t body, uint8_t frame, const link_state_t *link, out_t *out, uint32_t *rate) {
    word_t header;
    word_t rest;
    bool good = split(body, &header, &rest);
    uint8_t at = find(header);
    if (at == 255U) {
        refuse(out, -113, TEXT("Undefined header"));
        return THEN_NOTHING;
    }
    if (watch_running() && !flash_u8(&table[at].while_watching)) {
        refuse(out, -221, TEXT("Settings conflict; a watch is running"));
        return THEN_NOTHING;
    }
    if (!good) {
        refuse(out, -102, TEXT("Syntax error"));
        return THEN_NOTHING;
    }
    if (!fits(rest, flash_u8(&table[at].words), out)) {
        return THEN_NOTHING;
    }
    switch ((command_t)flash_u8(&table[at].command)) {
    case DRIVE:
        measure_drive(rest, frame, settle_us, out);
        return THEN_NOTHING;
    case WATCH_START:
        measure_watch(rest, frame, settle_us, out);
        return THEN_NOTHING;
    case WATCH_STOP:
        measure_watch_end(out);
        return THEN_NOTHING;
    case IDENTIFY:
        identify(out);
        return THEN_NOTHING;
    case CAPABILITIES:
        capabilities(out);
        return THEN_NOTHING;
    case LINK_COUNTS:
        link_counts(link, out);
        return THEN_NOTHING;
    case NEXT_ERROR:
        errors_next(out);
        return THEN_NOTHING;
    case TEST:
        self_test(out);
        return THEN_NOTHING;
    case SET_SETTLE:
        set_settle(rest, out);
        return THEN_NOTHING;
    case GET_SETTLE:
        put_u32(out, settle_us);
        return THEN_NOTHING;
    case SERIAL:
        calibrate_serial(rest, out);
        return THEN_NOTHING;
    case DATE:
        calibrate_date(rest, out);
        return THEN_NOTHING;
#if RISES
    case FARADS:
        measure_farads(rest, settle_us, out);
        return THEN_NOTHING;
    case CAP_OPEN:
    case CAP_REF: {
        points_t set;
        float farad = 0.0F;
        bool with = flash_u8(&table[at].command) == CAP_REF;
        if (take_set(&rest, &set, out) && (!with || take_number(&rest, &farad, out))) {
            calibrate_capacitance(&set, with, farad, out);
        }
        return THEN_NOTHING;
    }
#endif
#if TAPPED
    case OHMS:
        measure_ohms(rest, settle_us, out);
        return THEN_NOTHING;
    case VOLTS:
        measure_volts(rest, settle_us, out);
        return THEN_NOTHING;
    case DIODE:
        measure_diode(rest, settle_us, out);
        return THEN_NOTHING;
    case RES_REF:
        calibrate_resistor(rest, settle_us, out);
        return THEN_NOTHING;
    case RES_PLUG:
        calibrate_plug(rest, settle_us, out);
        return THEN_NOTHING;
#endif
    case SET_RATE:
        return set_rate(rest, link, out, rate);
    case OPEN_LINK:
        refuse(out, -221, TEXT("Settings conflict; only a checked line opens the link"));
        return THEN_NOTHING;
    case LACKING:
        refuse(out, -241, TEXT("Hardware missing"));
        return THEN_NOTHING;
    case CLOSE_LINK:
        commands_release();
        put_text(out, TEXT("OK"));
        return THEN_CLOSE;
    case RESET:
        settle_us = SETTLE_DEFAULT_US;
        commands_release();
        break;
    case RELEASE:
        commands_release();
        break;
    case CLEAR:
        errors_clear();
        break;
    case COMMANDS:
        break;
    }
    put_text(out, TEXT("OK"));
    return THEN_NOTHING;
}

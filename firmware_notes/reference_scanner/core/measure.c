#include "measure.h"

#include <string.h>

#include "board.h"
#include "capacitance.h"
#include "errors.h"
#include "flash.h"
#include "scan.h"
#include "settings.h"
#include "watch.h"
#include "words.h"

#define LOST TEXT("Part of the scanner lost; the code's last two digits say which")

static int16_t lost_code(void) {
    return (int16_t)(3U * FAULT_STEP + board_fault());
}

void measure_lost(void) {
    errors_add(lost_code(), LOST);
}

/* In place of an answer of which a part that did not answer has its share. */
static void refuse_part(out_t *out) {
    refuse(out, lost_code(), LOST);
}

void measure_drive(word_t rest, uint8_t frame, uint32_t settle_us, out_t *out) {
    if ((uint32_t)words_in(rest) * (SET_TEXT_HERE + 1U) + frame > LINE) {
        refuse(out, -223, TEXT("Too much data; the reply could outgrow a line"));
        return;
    }
    if (!all_sets(rest, out)) {
        return;
    }
    word_t word;
    points_t set;
    points_t low;
    for (bool first = true; next_word(&rest, &word); first = false) {
        (void)read_set(word, &set);
        scan_sense(&set, settle_us, &low);
        if (board_fault() != 0) {
            refuse_part(out);
            return;
        }
        if (!first) {
            put_char(out, ',');
        }
        put_set(out, &low);
    }
}

void measure_watch(word_t rest, uint8_t frame, uint32_t settle_us, out_t *out) {
    points_t set;
    points_t seen;
    uint16_t count = words_in(rest);
    if (count > WATCH_SETS || (uint16_t)frame + EVENT_BODY + SET_TEXT_HERE > LINE) {
        refuse(out, -223, TEXT("Too much data; so many sets are not watched"));
        return;
    }
    if (!all_sets(rest, out)) {
        return;
    }
    word_t word;
    for (uint8_t i = 0; i < count && next_word(&rest, &word); i++) {
        (void)read_set(word, &set);
        scan_sense(&set, settle_us, &seen);
        watch_put(i, &set, &seen);
    }
    if (board_fault() != 0) {
        refuse_part(out);
        return;
    }
    watch_start((uint8_t)count, settle_us);
    put_text(out, TEXT("OK"));
}

void measure_watch_end(out_t *out) {
    uint64_t cycles;
    uint32_t events;
    uint32_t lost;
    if (!watch_running()) {
        refuse(out, -221, TEXT("Settings conflict; no watch runs"));
        return;
    }
    watch_counts(&cycles, &events, &lost);
    watch_stop();
    put_u64(out, cycles);
    put_char(out, ',');
    put_u32(out, events);
    put_char(out, ',');
    put_u32(out, lost);
}

#if RISES
static uint16_t repeats_for(float farad) {
    float share = farad / RAMP_FARAD;
    if (share <= 1.0F) {
        return RAMP_REPEATS;
    }
    float repeats = share * share * (float)RAMP_REPEATS;
    return repeats < (float)RAMP_REPEATS_MOST ? (uint16_t)repeats : RAMP_REPEATS_MOST;
}

void measure_farads(word_t rest, uint32_t settle_us, out_t *out) {
    points_t a;
    points_t b;
    points_t low;
    if (!take_pair(&rest, &a, &b, out)) {
        return;
    }
    if (!settings.calibrated) {
        refuse(out, -221, TEXT("Settings conflict; not calibrated"));
        return;
    }
    point_t index = points_first(&a);
    if (points_count(&a) > 1U) {
        /* One pull-up charges all of them only where they are one conductor. */
        points_t one;
        memset(&one, 0, sizeof one);
        points_add(&one, index);
        scan_sense(&one, settle_us, &low);
        for (uint8_t i = 0; i < SET_BYTES; i++) {
            low.byte[i] = (uint8_t)(a.byte[i] & ~low.byte[i]);
        }
        if (!points_empty(&low)) {
            refuse(out, -221, TEXT("Settings conflict; points of the first set are not joined"));
            return;
        }
    }
    float cycles = 0.0F;
    rise_t rise = capacitance_rise(index, &b, CALIBRATION_REPEATS, &cycles);
    float found = cycles * settings.farad_per_cycle[index];
    if (rise == RISE_GOOD && found <= CAP_MOST) {
        rise = capacitance_rise(index, &b, repeats_for(found), &cycles);
        found = cycles * settings.farad_per_cycle[index];
    }
    if (rise == RISE_CONDUCTS) {
        put_text(out, TEXT("9.91E37"));
    } else if (rise == RISE_OVER || found > CAP_MOST) {
        put_text(out, TEXT("9.9E37"));
    } else {
        put_number(out, found);
    }
}
#endif

#include "calibrate.h"

#include <string.h>

#include "capacitance.h"
#include "errors.h"
#include "flash.h"
#include "settings.h"

/* A quoted text of letters, digits, points and dashes goes into `to`, of `room` bytes with its zero. */
static bool take_text(word_t word, char *to, uint8_t room) {
    if (word.length < 3U || word.length > (uint16_t)(room + 1U) || word.at[0] != '"' ||
        word.at[word.length - 1U] != '"') {
        return false;
    }
    for (uint16_t i = 1; i < word.length - 1U; i++) {
        char c = word.at[i];
        bool plain = (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '.' ||
                     c == '-' || c == '_';
        if (!plain) {
            return false;
        }
    }
    memset(to, 0, room);
    memcpy(to, word.at + 1, word.length - 2U);
    return true;
}

static void take_and_store(word_t rest, char *to, uint8_t room, out_t *out) {
    if (!take_text(rest, to, room)) {
        refuse(out, -104, TEXT("Data type error; a quoted text is expected"));
        return;
    }
    settings_store();
    put_text(out, TEXT("OK"));
}

void calibrate_serial(word_t rest, out_t *out) {
    take_and_store(rest, settings.serial, SERIAL_BYTES, out);
}

void calibrate_date(word_t rest, out_t *out) {
    take_and_store(rest, settings.date, DATE_BYTES, out);
}

#if RISES
static float open_cycles[POINTS];
static points_t opened;

float calibrate_error(void) {
    float most = CAP_ERROR;
    for (point_t i = 0; i < POINTS_HERE; i++) {
        if (settings.farad_per_cycle[i] > most) {
            most = settings.farad_per_cycle[i];
        }
    }
    return most;
}

static bool all_calibrated(void) {
    bool all = true;
    for (point_t i = 0; i < POINTS_HERE; i++) {
        all = all && settings.farad_per_cycle[i] > 0.0F;
    }
    return all;
}

void calibrate_capacitance(const points_t *points, bool with, float farad, out_t *out) {
    const points_t none = {{0}};
    if (with && !(farad >= 1.0e-10F && farad <= CAP_MOST)) {
        refuse(out, -222, TEXT("Data out of range; 1E-10 to 1E-8 F"));
        return;
    }
    for (point_t i = 0; i < POINTS_HERE; i++) {
        if (!points_has(points, i)) {
            continue;
        }
        float cycles = 0.0F;
        rise_t rise = capacitance_rise(i, &none, CALIBRATION_REPEATS, &cycles);
        if (rise != RISE_GOOD || (with && !(points_has(&opened, i) && cycles > open_cycles[i] + 10.0F))) {
            refuse(out, 1, TEXT("No such rise; is the plug in, and the capacitor as told?"));
            return;
        }
        if (with) {
            settings.farad_per_cycle[i] = farad / (cycles - open_cycles[i]);
        } else {
            open_cycles[i] = cycles;
            points_add(&opened, i);
        }
    }
    if (with) {
        settings.calibrated = all_calibrated() ? 1U : 0U;
        settings_store();
    }
    put_text(out, TEXT("OK"));
}
#endif

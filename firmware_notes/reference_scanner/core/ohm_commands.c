#include "limits.h"

#if TAPPED
#include "ohm_commands.h"

#include <math.h>

#include "errors.h"
#include "flash.h"
#include "ohms.h"
#include "settings.h"
#include "words.h"

#define OVER TEXT("9.9E37")
#define REF_LEAST_OHM 50.0F
#define REF_MOST_OHM 1.0e4F
#define SERIES_LEAST_OHM 800.0F
#define SERIES_MOST_OHM 1250.0F
/* Points that a plug joins have no more than this between them. */
#define PLUG_OHM 20.0F

static points_t known; /* by CAL:RES:REF since power-on */

static void refuse_for(ohms_t how, out_t *out) {
    if (how == OHMS_VOLTS) {
        refuse(out, 2, TEXT("A voltage over the scanner's supply is on the loom"));
    } else if (how == OHMS_LOST) {
        refuse(out, 3, TEXT("Current is lost; the loom touches something else"));
    } else if (how == OHMS_MANY) {
        refuse(out, 4, TEXT("Too many points are joined for a reading of groups"));
    } else {
        refuse(out, -310, TEXT("System error; converter or multiplexers do not answer"));
    }
}

static bool ready(bool calibrated, out_t *out) {
    if (!ohms_fitted()) {
        refuse(out, -241, TEXT("Hardware missing"));
        return false;
    }
    if (calibrated && !settings.ohms) {
        refuse(out, -221, TEXT("Settings conflict; not calibrated"));
        return false;
    }
    return true;
}

static void put_reading(ohms_t how, float value, out_t *out) {
    if (how == OHMS_GOOD) {
        put_number(out, value);
    } else if (how == OHMS_OPEN) {
        put_text(out, OVER);
    } else {
        refuse_for(how, out);
    }
}

void measure_ohms(word_t rest, uint32_t settle_us, out_t *out) {
    points_t a;
    points_t b;
    float ohm = 0.0F;
    if (take_pair(&rest, &a, &b, out) && ready(true, out)) {
        ohms_t how = ohms_groups(&a, &b, settle_us, &ohm);
        put_reading(how, ohm, out);
    }
}

/* The voltage of one point of a group, `index`, against that of the other group that is farthest off it. */
static ohms_t find_farthest(uint8_t index, const points_t *a, const points_t *b, uint32_t settle_us,
                            float *worst) {
    bool of_a = points_has(a, index);
    const points_t *others = of_a ? b : a;
    ohms_t how = OHMS_GOOD;
    for (uint8_t i = 0; i < POINTS && how == OHMS_GOOD; i++) {
        float share;
        if (points_has(others, i)) {
            how = of_a ? ohms_found(index, i, settle_us, &share) : ohms_found(i, index, settle_us, &share);
            if (how == OHMS_GOOD && fabsf(share) > fabsf(*worst)) {
                *worst = share;
            }
        }
    }
    return how;
}

/* Of groups the largest that is found between a point of one and a point of the other. */
void measure_volts(word_t rest, uint32_t settle_us, out_t *out) {
    points_t a;
    points_t b;
    float share = 0.0F;
    float supply = 0.0F;
    uint8_t index;
    if (!take_pair(&rest, &a, &b, out) || !ready(false, out)) {
        return;
    }
    ohms_t how = ohms_supply(&supply) ? OHMS_GOOD : OHMS_FAULT;
    how = how == OHMS_GOOD ? ohms_found_among(&a, &b, settle_us, &index, &share) : how;
    if (how == OHMS_GOOD && fabsf(share) > FOUND_LEAST) {
        how = find_farthest(index, &a, &b, settle_us, &share);
    }
    put_reading(how == OHMS_VOLTS ? OHMS_OPEN : how, share * supply, out);
}

void measure_diode(word_t rest, uint32_t settle_us, out_t *out) {
    points_t a;
    points_t b;
    float volts = 0.0F;
    if (take_pair(&rest, &a, &b, out) && ready(false, out)) {
        ohms_t how = ohms_diode_groups(&a, &b, settle_us, &volts);
        put_reading(how, volts, out);
    }
}

static void refuse_calibration(out_t *out) {
    refuse(out, 1, TEXT("No such resistance; is the plug in, and the resistor as told?"));
}

static bool is_series(float ohm) {
    return ohm >= SERIES_LEAST_OHM && ohm <= SERIES_MOST_OHM;
}

void calibrate_resistor(word_t rest, uint32_t settle_us, out_t *out) {
    points_t a;
    points_t b;
    float ohm;
    float between = 0.0F;
    float at_a = 0.0F;
    float at_b = 0.0F;
    if (!take_pair(&rest, &a, &b, out) || !take_number(&rest, &ohm, out) || !ready(false, out)) {
        return;
    }
    if (points_count(&a) > 1U || points_count(&b) > 1U || !(ohm >= REF_LEAST_OHM && ohm <= REF_MOST_OHM)) {
        refuse(out, -222, TEXT("Data out of range; two points, 50 to 10000 ohm"));
        return;
    }
    uint8_t i = points_first(&a);
    uint8_t j = points_first(&b);
    ohms_t how = ohms_drops(i, j, settle_us, &between, &at_a, &at_b);
    if (how != OHMS_GOOD && how != OHMS_OPEN) {
        refuse_for(how, out);
        return;
    }
    if (how == OHMS_OPEN || !(between > 0.0F) || !is_series(ohm * at_a / between) ||
        !is_series(ohm * at_b / between)) {
        refuse_calibration(out);
        return;
    }
    settings.series_ohm[i] = ohm * at_a / between;
    settings.series_ohm[j] = ohm * at_b / between;
    points_add(&known, i);
    points_add(&known, j);
    settings_store();
    put_text(out, TEXT("OK"));
}

static bool all_known(void) {
    bool all = true;
    for (uint8_t i = 0; i < POINTS; i++) {
        all = all && settings.series_ohm[i] > 0.0F;
    }
    return all;
}

void calibrate_plug(word_t rest, uint32_t settle_us, out_t *out) {
    points_t set;
    uint8_t ref = 0;
    if (!take_set(&rest, &set, out) || !ready(false, out)) {
        return;
    }
    while (ref < POINTS && !(points_has(&set, ref) && points_has(&known, ref))) {
        ref++;
    }
    if (ref == POINTS) {
        refuse(out, -221, TEXT("Settings conflict; first CAL:RES:REF with one of these points"));
        return;
    }
    for (uint8_t i = 0; i < POINTS; i++) {
        float between = 0.0F;
        float at_ref = 0.0F;
        float at = 0.0F;
        if (!points_has(&set, i) || i == ref) {
            continue;
        }
        ohms_t how = ohms_drops(ref, i, settle_us, &between, &at_ref, &at);
        if (how != OHMS_GOOD && how != OHMS_OPEN) {
            refuse_for(how, out);
            return;
        }
        float ohm = settings.series_ohm[ref] * at / at_ref;
        if (how == OHMS_OPEN || !is_series(ohm) ||
            !(between * settings.series_ohm[ref] < PLUG_OHM * at_ref)) {
            refuse_calibration(out);
            return;
        }
        settings.series_ohm[i] = ohm;
    }
    settings.ohms = all_known() ? 1U : 0U;
    settings_store();
    put_text(out, TEXT("OK"));
}

void put_ohm_capabilities(out_t *out) {
    if (ohms_fitted()) {
        put_text(out, TEXT(",VOLT=4.4,DIOD=1"));
        if (settings.ohms) {
            put_text(out, TEXT(",OHMS=0:1E5,ACC=0.002:0.005"));
        }
    }
}
#endif

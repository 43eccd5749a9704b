/* What outlives power: serial number, date of calibration, farads per cycle of each point. */
#ifndef SETTINGS_H
#define SETTINGS_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"

typedef struct {
    uint32_t generation;       /* the newer of two good copies counts */
    char serial[SERIAL_BYTES]; /* ends with a zero */
    char date[DATE_BYTES];     /* of the calibration, YYYY-MM-DD and a zero; empty where there was none */
#if RISES
    uint8_t calibrated; /* 1 where the farads stand */
    float farad_per_cycle[POINTS];
#endif
#if TAPPED
    uint8_t ohms; /* 1 where every point's resistor stands, ohm */
    float series_ohm[POINTS];
#endif
} settings_t;

extern settings_t settings;

/* Take the newer copy whose checksum holds, or the defaults where none does: serial number UNSET,
 * uncalibrated. */
void settings_load(void);
/* Write into the older copy's place; a power cut meanwhile leaves the other. */
void settings_store(void);

#endif

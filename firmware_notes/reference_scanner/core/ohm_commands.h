/* The commands of converter and taps. */
#ifndef OHM_COMMANDS_H
#define OHM_COMMANDS_H

#include "text.h"

/* MEAS:RES?, MEAS:VOLT? and MEAS:DIOD? */
void measure_ohms(word_t rest, uint32_t settle_us, out_t *out);
void measure_volts(word_t rest, uint32_t settle_us, out_t *out);
void measure_diode(word_t rest, uint32_t settle_us, out_t *out);
/* Between two points lies a known resistance: what their own resistors are follows. */
void calibrate_resistor(word_t rest, uint32_t settle_us, out_t *out);
/* All these points are joined by a plug, one of them known: what the others' resistors are follows, and is
 * stored. */
void calibrate_plug(word_t rest, uint32_t settle_us, out_t *out);
/* What SYST:CAP? says of them. */
void put_ohm_capabilities(out_t *out);

#endif

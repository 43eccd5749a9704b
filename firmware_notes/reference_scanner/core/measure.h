/* The commands that touch the loom. */
#ifndef MEASURE_H
#define MEASURE_H

#include "text.h"

/* SENS:DRIV? */
void measure_drive(word_t rest, uint8_t frame, uint32_t settle_us, out_t *out);
/* MEAS:CAP? */
void measure_farads(word_t rest, uint32_t settle_us, out_t *out);
/* WATC:STAR and WATC:STOP */
void measure_watch(word_t rest, uint8_t frame, uint32_t settle_us, out_t *out);
void measure_watch_end(out_t *out);
/* Queue the error that part of the scanner does not answer, for a watch that ends by that. */
void measure_lost(void);

#endif

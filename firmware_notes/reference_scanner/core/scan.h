/* Sensing: drive a set, pull up a few points at a time, read those, go on. */
#ifndef SCAN_H
#define SCAN_H

#include "points.h"

/* Points of phase 0 .. PHASES - 1: half a port each. */
void scan_phase(uint8_t phase, points_t *pulled);
/* What reads low while these points are driven, each phase after this wait. Released afterwards. */
void scan_sense(const points_t *driven, uint32_t settle_us, points_t *low);
/* 0, or what is wrong with nothing plugged in: 1..POINTS a pin that cannot go low or high, 100 + point one
 * that leaks, 200 + point one that another pulls along. */
uint16_t scan_self_test(void);

#endif

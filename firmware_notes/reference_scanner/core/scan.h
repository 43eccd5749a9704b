/* Sensing: drive a set, pull up a few points at a time, read those, go on. */
#ifndef SCAN_H
#define SCAN_H

#include "points.h"

/* What reads low while these points are driven, each phase after this wait. Released afterwards. */
void scan_sense(const points_t *driven, uint32_t settle_us, points_t *low);
/* 0, or what is wrong with nothing plugged in: 1..POINTS a pin that cannot go low or high,
 * FAULT_STEP + point one that leaks, twice that + point one that another pulls along, three times that +
 * number a part that does not answer (board_fault). */
uint16_t scan_self_test(void);

#endif

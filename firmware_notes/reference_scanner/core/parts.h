/* One part of the loom: points that conductors and resistances join. */
#ifndef PARTS_H
#define PARTS_H

#include "ohms.h"
#include "resistances.h"

/* The resistance of a part between its first `of_a` points, as if these were joined, and the rest, joined. */
ohms_t parts_read(const uint8_t *points, uint8_t count, uint8_t of_a, float most, uint32_t settle_us,
                  float *ohm);

#endif

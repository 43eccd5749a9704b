/* The multiplexers that bring points to the converter: a chain of shift registers, two for sixteen points.
 *
 * Line X takes the terminal of one point, Y that of another, Z the pin's side of a protection resistor. No
 * current flows in any of them but what leaks. */
#ifndef TAPS_H
#define TAPS_H

#include "limits.h"

#define TAP_NONE 255U

/* Whether the chain is there, as long as it has to be; nothing is connected afterwards. */
bool taps_find(void);
/* Connect points, by their index, to X, Y and Z; false where the chain does not hold what it was told. */
bool taps_select(uint8_t x, uint8_t y, uint8_t z);

#endif

/* What a network of resistors reads between two groups of its points, from what single currents make of it.
 */
#ifndef RESISTANCES_H
#define RESISTANCES_H

#include <stdint.h>

/* So many points, of which the first `of_a` are joined on one side, the rest on the other. */
#define MOST_JOINED 20U

/* The voltage at point i against point 0, while one ampere goes in at point k and out at point 0; i and k
 * from
 * 1. Both of a pair are wanted. */
void resistances_put(uint8_t i, uint8_t k, float ohm);
/* The resistance from the first points, joined, to the rest, joined, ohm. What was put in is used up. */
float resistances_joined(uint8_t count, uint8_t of_a);

#endif

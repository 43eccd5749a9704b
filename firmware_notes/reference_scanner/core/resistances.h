/* What a network of resistors reads between two groups of its points, from what it reads between each two. */
#ifndef RESISTANCES_H
#define RESISTANCES_H

#include <stdint.h>

/* So many points, of which the first `of_a` are joined on one side, the rest on the other. */
#define MOST_JOINED 6U

void resistances_start(uint8_t count, uint8_t of_a);
/* The resistance between two of them, all others open. */
void resistances_put(uint8_t i, uint8_t j, float ohm);
/* The resistance from the first points, joined, to the rest, joined, ohm. */
float resistances_joined(void);

#endif

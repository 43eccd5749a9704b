#ifndef HOST_TAPS_H
#define HOST_TAPS_H

#include <stdbool.h>
#include <stdint.h>

/* What the converter's readings are drawn from; after how many it is never ready again, 0 for never; whether
 * the chain gives nothing back. */
extern uint32_t host_codes;
extern uint32_t host_stops;
extern bool host_broken;

#endif

#ifndef HOST_BOARD_H
#define HOST_BOARD_H

#include <stdint.h>

#define HOST_ROOM 65536U

extern uint64_t host_us;
extern uint8_t host_group[];
extern uint8_t host_out[];
extern uint32_t host_out_length;

/* Power on: an empty EEPROM, no points joined, nothing on the line. */
void host_reset(void);
/* Bytes come in. */
void host_feed(const uint8_t *data, uint32_t length);
/* Time passes, then the link does what is due. */
void host_pass(uint32_t us);

#endif

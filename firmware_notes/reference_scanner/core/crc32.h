/* CRC-32 of IEEE 802.3 and ITU-T V.42, a byte at a time. */
#ifndef CRC32_H
#define CRC32_H

#include <stdint.h>

#define CRC32_START 0xFFFFFFFFUL

uint32_t crc32_byte(uint32_t crc, uint8_t byte);

static inline uint32_t crc32_end(uint32_t crc) {
    return crc ^ 0xFFFFFFFFUL;
}

#endif

/* Constants that stay in flash on a part whose data memory is apart from it. */
#ifndef FLASH_H
#define FLASH_H

#include <stdint.h>

#ifdef __AVR__
#include <avr/pgmspace.h>
#define IN_FLASH PROGMEM
#define TEXT(literal) PSTR(literal)
static inline uint8_t flash_u8(const void *at) {
    return pgm_read_byte(at);
}
static inline uint32_t flash_u32(const void *at) {
    return pgm_read_dword(at);
}
#else
#define IN_FLASH
#define TEXT(literal) (literal)
static inline uint8_t flash_u8(const void *at) {
    return *(const uint8_t *)at;
}
static inline uint32_t flash_u32(const void *at) {
    return *(const uint32_t *)at;
}
#endif

#endif

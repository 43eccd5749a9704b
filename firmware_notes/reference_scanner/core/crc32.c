#include "crc32.h"

#include "flash.h"

/* A nibble at a time: 64 bytes of table in flash, against 1024 for a byte at a time. */
static const uint32_t table[16] IN_FLASH = {
    0x00000000UL, 0x1DB71064UL, 0x3B6E20C8UL, 0x26D930ACUL, 0x76DC4190UL, 0x6B6B51F4UL,
    0x4DB26158UL, 0x5005713CUL, 0xEDB88320UL, 0xF00F9344UL, 0xD6D6A3E8UL, 0xCB61B38CUL,
    0x9B64C2B0UL, 0x86D3D2D4UL, 0xA00AE278UL, 0xBDBDF21CUL,
};

uint32_t crc32_byte(uint32_t crc, uint8_t byte) {
    crc ^= byte;
    crc = (crc >> 4) ^ flash_u32(&table[crc & 15U]);
    crc = (crc >> 4) ^ flash_u32(&table[crc & 15U]);
    return crc;
}

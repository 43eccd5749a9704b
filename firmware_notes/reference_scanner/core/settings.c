#include "settings.h"

#include <string.h>

#include "board.h"
#include "crc32.h"

#define SETTINGS_BYTES ((uint16_t)sizeof(settings_t))
#define CHECK_BYTES ((uint8_t)sizeof(uint32_t))
#define COPY_BYTES (SETTINGS_BYTES + CHECK_BYTES)

settings_t settings;

static uint32_t check_of(const settings_t *these) {
    uint32_t crc = CRC32_START;
    const uint8_t *bytes = (const uint8_t *)these;
    for (uint16_t i = 0; i < SETTINGS_BYTES; i++) {
        crc = crc32_byte(crc, bytes[i]);
    }
    return crc32_end(crc);
}

/* Read one copy into `settings`; whether its check holds. */
static bool load_copy(uint8_t copy) {
    uint16_t at = (uint16_t)(copy * COPY_BYTES);
    uint8_t *bytes = (uint8_t *)&settings;
    uint32_t check;
    uint8_t *check_bytes = (uint8_t *)&check;
    for (uint16_t i = 0; i < SETTINGS_BYTES; i++) {
        bytes[i] = board_eeprom_read(at++);
    }
    for (uint8_t i = 0; i < CHECK_BYTES; i++) {
        check_bytes[i] = board_eeprom_read(at++);
    }
    return check == check_of(&settings);
}

void settings_load(void) {
    bool first = load_copy(0);
    uint32_t generation = settings.generation;
    if (load_copy(1) && (!first || (int32_t)(settings.generation - generation) > 0)) {
        return;
    }
    if (!first || !load_copy(0)) {
        memset(&settings, 0, sizeof settings);
        memcpy(settings.serial, "UNSET", 6);
    }
}

void settings_store(void) {
    settings.generation++;
    uint16_t at = (uint16_t)((settings.generation & 1U) * COPY_BYTES);
    uint32_t check = check_of(&settings);
    const uint8_t *bytes = (const uint8_t *)&settings;
    const uint8_t *check_bytes = (const uint8_t *)&check;
    /* The check goes first, so that it is wrong until the last byte stands. */
    for (uint8_t i = 0; i < CHECK_BYTES; i++) {
        board_eeprom_write((uint16_t)(at + SETTINGS_BYTES + i), check_bytes[i]);
    }
    for (uint16_t i = 0; i < SETTINGS_BYTES; i++) {
        board_eeprom_write(at++, bytes[i]);
    }
}

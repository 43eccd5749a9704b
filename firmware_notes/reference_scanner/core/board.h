/* What the portable core needs of a board. Everything that touches a register is behind this. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "points.h"

/* Microseconds since power-on; 64 bits, so that they never wrap in a person's life. */
uint64_t board_us(void);
/* The same in the clock's own parts, quick enough for an interrupt. */
typedef struct {
    uint32_t laps;  /* of 32 768 us */
    uint16_t ticks; /* of half a microsecond */
} stamp_t;
void board_stamp(stamp_t *now);
uint64_t board_stamp_us(const stamp_t *then);
/* Tell the watchdog that the program lives. */
void board_kick(void);

/* Make ready whatever the points are on, nothing driven: at power-on before anything else of the points, and
 * whenever a link opens or ends. */
void board_points_start(void);
/* What is wrong with what the points are on, 0 for nothing: the number of a part that does not answer.
 * Nothing is driven then, and nothing that was read since the last board_apply is worth anything. */
uint8_t board_fault(void);
/* Every pin an input; without pull-up where PULLS says that not all are always pulled up. */
void board_release(void);
/* Hold the driven points at 0 V, pull the pulled ones up, leave the rest open. No pin is ever driven high,
 * and none changes its state on the way. The two sets must not meet. Where all points are always pulled up
 * (PULLS is POINTS) `pulled` counts not. */
void board_apply(const points_t *driven, const points_t *pulled);
/* Read every pin; a bit is set where the pin reads low. */
void board_read(points_t *low);
/* Wait, the watchdog kept quiet. */
void board_wait_us(uint32_t us);
/* Release a point from 0 V, pull it up and poll it until it reads high: the number of polls, POLL_CYCLES
 * apart, the first one delayed by `phase` cycles; MOST_POLLS where it never did. The rest keeps its state;
 * the point is driven again afterwards. */
uint16_t board_rise(point_t index, uint8_t phase);

/* Call watch_tick every WATCH_TICK_US from an interrupt, or stop calling it. A tick that lets other
 * interrupts in never meets itself. */
void board_ticks(bool on);
/* Keep the tick out while what it shares is read, some hundred cycles, and let it in again. */
void board_lock(void);
void board_unlock(void);

/* The next byte that has come, -1 where none has. */
int16_t board_get(void);
/* How many bytes have come and were not taken. */
uint16_t board_waiting(void);
/* Send these bytes; they must stay where they are until board_sending is false. */
void board_send(const char *data, uint16_t length);
bool board_sending(void);
/* Whether the UART makes this rate within 2.5 %. */
bool board_can_rate(uint32_t rate);
/* Change the rate, once everything has been sent. */
void board_rate(uint32_t rate);

#if TAPPED
/* Where kind.h has taps: make the SPI ready, all multiplexers off. */
void board_taps_start(void);
/* Hold points at the supply and others at 0 V through their drivers, leave the rest open. The sets must not
 * meet. board_release and board_apply end it. */
void board_force(const points_t *high, const points_t *low);
/* Bytes to the converter and back while it is selected; whether it says meanwhile that a reading is there. */
void board_converter_select(bool on);
uint8_t board_converter_byte(uint8_t out);
bool board_converter_ready(void);
/* Bytes into the chain of taps, and those that come out at its end; then all take over what they hold. */
void board_taps(const uint8_t *out, uint8_t *back, uint8_t count);
#endif

uint8_t board_eeprom_read(uint16_t at);
/* Write one byte; does nothing where it is there already. */
void board_eeprom_write(uint16_t at, uint8_t value);

#endif

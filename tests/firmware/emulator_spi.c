/* The emulated chip's SPI, in the clock's own time: simavr's takes 100 us of the set frequency for each byte,
 * whatever its clock. Here a byte takes 8 bits of it, and devices are asked for what comes back.
 *
 * A device is attached to the pin that selects it, and is selected while that is an output at 0 V: a pin that
 * is an input is pulled up. Where no device speaks, MISO is at rest at `quiet`. Counted as misuse: a byte
 * before the last one is through, one while MOSI, SCK or PB0 is no output or the SPI no master, two devices
 * that speak at once. */
#include <stdlib.h>
#include <string.h>

#include <simavr/sim_cycle_timers.h>

#include "emulator.h"

#define DEVICES 40
#define SPCR 0x4C
#define SPSR 0x4D
#define SPDR 0x4E
#define DDRB 0x24

static struct {
    spi_device_t call;
    void *self;
    avr_io_addr_t ddr;
    uint8_t mask;
    bool selected;
} device[DEVICES];
static int devices;
static uint8_t received, quiet;
static bool flag, busy;
static uint64_t bytes, misused, busy_cycles, began, ended;

static const uint16_t divisors[4] = {4, 16, 64, 128};

static uint32_t byte_cycles(avr_t *avr) {
    uint32_t divisor = divisors[avr->data[SPCR] & 3];
    return 8 * (avr->data[SPSR] & 1 ? divisor / 2 : divisor);
}

void spi_pins_changed(avr_t *avr) {
    expanders_pins_changed(avr);
    for (int i = 0; i < devices; i++) {
        uint8_t out = avr->data[device[i].ddr], high = avr->data[device[i].ddr + 1];
        bool now = (out & device[i].mask) && !(high & device[i].mask);
        if (now != device[i].selected) {
            device[i].selected = now;
            device[i].call(device[i].self, now ? SPI_SELECTED : SPI_DESELECTED, avr->data[SPCR] >> 2 & 3);
        }
    }
}

static avr_cycle_count_t through(struct avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)avr, (void)when, (void)param;
    flag = true;
    busy = false;
    return 0;
}

static void write_data(struct avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param) {
    (void)addr, (void)param;
    bool master = (avr->data[SPCR] & 0x50) == 0x50 && (avr->data[DDRB] & 7) == 7;
    if (busy || !master) {
        misused++;
        return;
    }
    int speaking = 0;
    received = quiet;
    for (int i = 0; i < devices; i++) {
        int back = device[i].selected ? device[i].call(device[i].self, SPI_BYTE, value) : -1;
        if (back >= 0) {
            received = (uint8_t)back;
            speaking++;
        }
    }
    misused += speaking > 1;
    bytes++;
    busy_cycles += byte_cycles(avr);
    began = began ? began : avr->cycle;
    ended = avr->cycle + byte_cycles(avr);
    busy = true;
    flag = false;
    avr_cycle_timer_register(avr, byte_cycles(avr), through, NULL);
}

static uint8_t read_data(struct avr_t *avr, avr_io_addr_t addr, void *param) {
    (void)param;
    flag = false;
    return avr->data[addr] = received;
}

static uint8_t read_status(struct avr_t *avr, avr_io_addr_t addr, void *param) {
    (void)param;
    return avr->data[addr] = (uint8_t)((avr->data[addr] & 1) | flag << 7);
}

static void write_status(struct avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param) {
    (void)param;
    avr->data[addr] = value & 1;
}

static void write_control(struct avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param) {
    (void)param;
    avr->data[addr] = value;
}

void spi_power_on(avr_t *avr) {
    avr->io[AVR_DATA_TO_IO(SPDR)].w.c = write_data;
    avr->io[AVR_DATA_TO_IO(SPDR)].r.c = read_data;
    avr->io[AVR_DATA_TO_IO(SPSR)].r.c = read_status;
    avr->io[AVR_DATA_TO_IO(SPSR)].w.c = write_status;
    avr->io[AVR_DATA_TO_IO(SPCR)].w.c = write_control;
    devices = 0;
    expanders_off();
    quiet = 0;
    flag = busy = false;
    bytes = misused = busy_cycles = began = ended = 0;
}

/* A device on the select at this bit of the port whose DDR is at this address of data memory. */
int emulator_spi_attach(int ddr, int bit, spi_device_t call, void *self) {
    if (devices == DEVICES) {
        return -1;
    }
    device[devices].call = call;
    device[devices].self = self;
    device[devices].ddr = (avr_io_addr_t)ddr;
    device[devices].mask = (uint8_t)(1 << bit);
    device[devices].selected = false;
    return devices++;
}
/* What MISO is at where nobody speaks: 0x00 with a resistor down, 0xFF with one up. */
void emulator_spi_quiet(int level) {
    quiet = (uint8_t)level;
}
uint64_t emulator_spi_bytes(void) {
    return bytes;
}
uint64_t emulator_spi_misused(void) {
    return misused;
}
/* Bytes, the cycles that they took, and those from the first one's begin to the last one's end, since this
 * was asked before. */
void emulator_spi_lap(uint64_t *three) {
    three[0] = bytes;
    three[1] = busy_cycles;
    three[2] = ended - began;
    bytes = busy_cycles = began = ended = 0;
}

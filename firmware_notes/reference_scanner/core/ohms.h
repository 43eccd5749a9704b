/* Readings between two points by the converter: voltage found, resistance, a diode's forward voltage.
 *
 * The current goes from one pin at the supply to one at 0 V, through the two points' own resistors. Both
 * ends' voltage and what drops over both resistors are read as shares of the supply. Nothing is driven
 * afterwards, however it ends. */
#ifndef OHMS_H
#define OHMS_H

#include "converter.h"
#include "points.h"

/* More is over range: somewhat beyond what SYST:CAP? says, so that this much surely reads. */
#define OHM_MOST 1.1e5F
/* Less voltage than this is as good as none: 50 mV, as a share of the supply. */
#define FOUND_LEAST 0.01F
/* A capacitor that an open reading has left at the supply falls meanwhile, a source does not: with a pull-up
 * at each end 0.1 mF by several per mille. */
#define FALL_US 60000UL
/* What a protection resistor may be, beside what it was calibrated to. */
#define SERIES_OHM 1000.0F

typedef enum {
    OHMS_GOOD,
    OHMS_OPEN,  /* over range */
    OHMS_VOLTS, /* more than the supply is found, nothing driven */
    OHMS_LOST,  /* what flows in does not flow out */
    OHMS_FAULT, /* no reading, or the taps do not do what they are told */
    OHMS_MANY,  /* more points joined than a reading of groups takes */
} ohms_t;

/* Find out whether converter and taps are fitted. */
void ohms_find(void);
bool ohms_fitted(void);
/* The voltage of one against the other while both are pulled up and nothing is driven, as a share of the
 * supply; OHMS_VOLTS over it. */
ohms_t ohms_found(uint8_t a, uint8_t b, uint32_t settle_us, float *share);
/* The same for groups: of all points pulled up at once the one that is farthest off the first of the other
 * group, and by how much. */
ohms_t ohms_found_among(const points_t *a, const points_t *b, uint32_t settle_us, uint8_t *index,
                        float *share);
/* The supply, V, by the converter's own reference. */
bool ohms_supply(float *volts);
/* Resistance, up to `most`, the current once each way. What conducts otherwise backwards than forwards reads
 * as forwards, from a to b. */
ohms_t ohms_pair(uint8_t a, uint8_t b, float most, uint32_t settle_us, float *ohm);
/* The same for groups: all of A joined, all of B joined, the rest open. */
ohms_t ohms_groups(const points_t *a, const points_t *b, uint32_t settle_us, float *ohm);
/* The voltage of a against b while current flows from a to b, V. */
ohms_t ohms_diode(uint8_t a, uint8_t b, uint32_t settle_us, float *volts);
/* The same for groups: of the points between which it flows, those that need least. */
ohms_t ohms_diode_groups(const points_t *a, const points_t *b, uint32_t settle_us, float *volts);
/* While current flows from a to b and back through a known resistance: what drops between them, and over both
 * protection resistors, each as a share and as the difference of both ways. */
ohms_t ohms_drops(uint8_t a, uint8_t b, uint32_t settle_us, float *between, float *at_a, float *at_b);
/* 0, or what is wrong with nothing plugged in. */
uint16_t ohms_self_test(void);

/* --- what readings are made of --- */

/* One pin at the supply, one at 0 V, for as long as it takes to settle. */
void ohms_force(uint8_t high, uint8_t low, uint32_t settle_us);
/* Leave nothing driven and nothing connected; `how` it went, or OHMS_FAULT. */
ohms_t ohms_ended(ohms_t how);
/* X against Y once it moves no more, and the amplification that it fits in. */
bool ohms_steady(uint8_t gain, float *share);
uint8_t ohms_gain(float share);
/* The current in at a, from its own resistor, and that out at b, supplies per ohm; the point named second is
 * on the other line. */
bool ohms_current_in(uint8_t a, uint8_t y, pace_t pace, float *current);
bool ohms_current_out(uint8_t b, uint8_t x, pace_t pace, float *current);
/* Whether as much flows in as out. */
bool ohms_comes_back(float in, float out);
/* What a point's resistor is taken for, ohm. */
float ohms_series(uint8_t index);
/* The voltage of one against the other while these are pulled up and nothing is driven. */
bool ohms_apart(uint8_t a, uint8_t b, const points_t *pulled, uint32_t settle_us, float *share);
/* The current into the loom at a point that is at the supply alone while all of `low` are at 0 V, supplies
 * per ohm; quick and rough. */
bool ohms_into(uint8_t index, const points_t *low, uint32_t settle_us, float *current);
/* The current out of the loom at a point, everything driven as it is. */
bool ohms_out_of(uint8_t index, float *current);

#endif

/* With currents f into the points, of which the sum is nothing, point i stands at -1/2 sum_j r_ij f_j, but
 * for a constant that is the same for all. Joined points stand at the same voltage: that, and one ampere in
 * and out, are linear equations for f and the two voltages. */
#include "resistances.h"

#include <math.h>
#include <string.h>

#define MOST (MOST_JOINED + 2U)
/* Put in series with every point, so that the equations have one answer whatever noise says of points that
 * are as good as one; taken off again as if all carried the same current. */
#define EACH_OHM 1.0e-3F

static float r[MOST_JOINED][MOST_JOINED];
static float m[MOST][MOST + 1U];
static uint8_t n;
static uint8_t first;

void resistances_start(uint8_t count, uint8_t of_a) {
    memset(r, 0, sizeof r);
    n = count;
    first = of_a;
}

void resistances_put(uint8_t i, uint8_t j, float ohm) {
    r[i][j] = ohm + 2.0F * EACH_OHM;
    r[j][i] = r[i][j];
}

static void eliminate(uint8_t size) {
    for (uint8_t k = 0; k < size; k++) {
        uint8_t best = k;
        for (uint8_t i = (uint8_t)(k + 1U); i < size; i++) {
            best = fabsf(m[i][k]) > fabsf(m[best][k]) ? i : best;
        }
        for (uint8_t j = 0; j <= size; j++) {
            float kept = m[k][j];
            m[k][j] = m[best][j];
            m[best][j] = kept;
        }
        for (uint8_t i = 0; i < size; i++) {
            float by = i == k ? 0.0F : m[i][k] / m[k][k];
            for (uint8_t j = k; j <= size && i != k; j++) {
                m[i][j] -= by * m[k][j];
            }
        }
    }
}

float resistances_joined(void) {
    uint8_t size = (uint8_t)(n + 2U);
    memset(m, 0, sizeof m);
    for (uint8_t i = 0; i < n; i++) {
        uint8_t side = (uint8_t)(i < first ? n : n + 1U);
        for (uint8_t j = 0; j < n; j++) {
            m[i][j] = -0.5F * r[i][j];
        }
        m[i][side] = -1.0F; /* the voltage of its side */
        m[side][i] = 1.0F;
    }
    m[n][size] = 1.0F;
    m[n + 1U][size] = -1.0F;
    /* Of the voltages only the difference matters; the equations leave no constant free, as the currents' sum
     * is given twice over and is nothing. */
    eliminate(size);
    float volts_a = m[n][size] / m[n][n];
    float volts_b = m[n + 1U][size] / m[n + 1U][n + 1U];
    return volts_a - volts_b - EACH_OHM / (float)first - EACH_OHM / (float)(n - first);
}

/* With currents f into points 1 and on, all of which come out at point 0, point i stands at sum_k z_ik f_k
 * against point 0. Joined points stand at the same voltage, those of the first group at that of point 0:
 * that, and one ampere into the second group, are linear equations for f and the second group's voltage. */
#include "resistances.h"

#include "limits.h"

#if TAPPED
#include <math.h>
#include <stdbool.h>

/* Put in series with every point, so that the equations have one answer whatever noise says of points that
 * are as good as one; taken off again as if all carried the same current. */
#define EACH_OHM 1.0e-3F

static float m[MOST_JOINED][MOST_JOINED + 1U];

void resistances_put(uint8_t i, uint8_t k, float ohm) {
    m[i - 1U][k - 1U] = ohm;
}

static void swap_rows(uint8_t one, uint8_t other, uint8_t size) {
    for (uint8_t j = 0; j <= size && one != other; j++) {
        float kept = m[one][j];
        m[one][j] = m[other][j];
        m[other][j] = kept;
    }
}

static void eliminate(uint8_t size) {
    for (uint8_t k = 0; k < size; k++) {
        uint8_t best = k;
        for (uint8_t i = (uint8_t)(k + 1U); i < size; i++) {
            best = fabsf(m[i][k]) > fabsf(m[best][k]) ? i : best;
        }
        swap_rows(k, best, size);
        for (uint8_t i = 0; i < size; i++) {
            float by = i == k ? 0.0F : m[i][k] / m[k][k];
            for (uint8_t j = k; j <= size && i != k; j++) {
                m[i][j] -= by * m[k][j];
            }
        }
    }
}

float resistances_joined(uint8_t count, uint8_t of_a) {
    uint8_t last = (uint8_t)(count - 1U);
    for (uint8_t i = 0; i < last; i++) {
        for (uint8_t k = 0; k < i; k++) {
            float mean = 0.5F * (m[i][k] + m[k][i]) + EACH_OHM;
            m[i][k] = mean;
            m[k][i] = mean;
        }
        m[i][i] += 2.0F * EACH_OHM;
    }
    for (uint8_t i = 0; i < last; i++) {
        bool of_b = i + 1U >= of_a;
        m[i][last] = of_b ? -1.0F : 0.0F;
        m[last][i] = of_b ? 1.0F : 0.0F;
        m[i][count] = 0.0F;
    }
    m[last][last] = 0.0F;
    m[last][count] = 1.0F;
    eliminate(count);
    return m[last][count] / m[last][last] - EACH_OHM / (float)of_a - EACH_OHM / (float)(count - of_a);
}
#endif

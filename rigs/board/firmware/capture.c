/* The controller's pump output: both edges captured by timer 1, in cycles.
 *
 * The edge to wait for is switched after each capture, so a pulse or a gap shorter than the longest wait for the
 * interrupt is not seen by the hardware; the pin's level then shows it, and it is counted as missed. */
#include "board.h"

static volatile uint32_t base; /* cycles at the start of the present period of timer 1 */
static uint32_t rise, fall;
static bool have_rise, have_fall;
static volatile struct capture sum;

void capture_init(void) {
    PORTB |= _BV(PIN_CAPTURE);
    have_rise = have_fall = false;
    TCCR1B |= _BV(ICES1);
    TIFR1 = _BV(ICF1);
    TIMSK1 = _BV(ICIE1) | _BV(TOIE1);
}

ISR(TIMER1_OVF_vect) {
    base += pump_period();
}

ISR(TIMER1_CAPT_vect) {
    uint16_t count = ICR1;
    bool rising = (TCCR1B & _BV(ICES1)) != 0;
    uint32_t at = base + count;
    TCCR1B ^= _BV(ICES1);
    /* A turn of the timer whose interrupt waits behind this one is counted here; was it before the edge? */
    if (TIFR1 & _BV(TOV1)) {
        base += pump_period();
        if (count < pump_period() / 2) {
            at += pump_period();
        }
        TIFR1 = _BV(ICF1) | _BV(TOV1);
    } else {
        TIFR1 = _BV(ICF1);
    }
    bool level = (PINB & _BV(PIN_CAPTURE)) != 0;
    if (rising) {
        if (have_rise && have_fall) {
            sum.high += fall - rise;
            sum.period += at - rise;
            sum.periods++;
        }
        rise = at;
        have_rise = true;
        have_fall = false;
    } else {
        fall = at;
        have_fall = have_rise;
    }
    if (level != rising) {
        /* The next edge has passed already. */
        sum.missed++;
        TCCR1B ^= _BV(ICES1);
        have_rise = have_fall = false;
    }
}

/* What was measured since the last call. */
void capture_take(struct capture *out) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        *out = sum;
        sum.high = 0;
        sum.period = 0;
        sum.periods = 0;
        sum.missed = 0;
    }
    out->level = (PINB & _BV(PIN_CAPTURE)) != 0;
}

/* Four analogue inputs and two on/off inputs.
 *
 * The interrupt of timer 0's overflow starts a conversion, every 128 us (16 clocks of the converter). Of six in turn, channel 0 (line pressure) gets
 * three, the others one each: its samples are 256 us apart, theirs 768 us. 125 of them take 32 ms and 96 ms, whole
 * periods of 1 ms, and meet the period at 125 phases 8 us apart: ripple of the pump's PWM averages out. */
#include "board.h"

#define CHANNELS 4
#define DEBOUNCE_MS 5
#define EDGES 8

static const uint8_t order[6] = {0, 1, 0, 2, 0, 3};
static uint32_t sums[CHANNELS];
static uint8_t counts[CHANNELS];
static volatile uint16_t means[CHANNELS];
static uint32_t mean_ms[CHANNELS];
static uint16_t mean_us[CHANNELS];
static volatile uint8_t fresh;
static uint8_t turn;
static uint16_t supply_mv;

static volatile uint8_t levels; /* debounced, bit per input */
static uint8_t pending;         /* inputs whose level differs from the debounced one */
static uint8_t held_ms[2], back_ms[2];
static uint32_t edge_ms[2];
static uint16_t edge_us[2];
static struct edge edges[EDGES];
static volatile uint8_t edge_head, edge_tail;

#define PINS ((PINC >> PIN_INPUT_1) & 3)

void inputs_init(void) {
    /* 5 V as measured with the inner reference of 1.1 V (+-10 %): shows a supply that is wrong, not a value. */
    ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
    ADMUX = _BV(REFS0) | 14;
    uint16_t reading = 0;
    for (uint8_t i = 0; i < 16; i++) {
        ADCSRA |= _BV(ADSC);
        while (ADCSRA & _BV(ADSC)) {
        }
        reading = ADC;
    }
    supply_mv = reading ? (uint16_t)(1100UL * 1024 / reading) : 0;
    ADMUX = _BV(REFS0) | order[0];
    DIDR0 = 0x0f;
    ADCSRA |= _BV(ADIE) | _BV(ADIF);

    PORTC |= _BV(PIN_INPUT_1) | _BV(PIN_INPUT_2);
    PCMSK1 = _BV(PCINT12) | _BV(PCINT13);
    PCICR = _BV(PCIE1);
}

ISR(ADC_vect) {
    uint8_t channel = order[turn];
    uint16_t value = ADC;
    turn = turn == 5 ? 0 : (uint8_t)(turn + 1);
    ADMUX = _BV(REFS0) | order[turn];
    sums[channel] += value;
    if (++counts[channel] == WINDOW) {
        /* sum / 125 / 1024 * 50000 tenths of a mV */
        means[channel] = (uint16_t)((sums[channel] * 25 + 32) / 64);
        mean_ms[channel] = clock_ms(&mean_us[channel]);
        fresh |= (uint8_t)(1 << channel);
        sums[channel] = 0;
        counts[channel] = 0;
    }
}

bool inputs_mean(uint8_t channel, struct mean *out) {
    bool is = false;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        uint8_t bit = (uint8_t)(1 << channel);
        is = (fresh & bit) != 0;
        fresh &= (uint8_t)~bit;
        *out = (struct mean){mean_ms[channel], mean_us[channel], means[channel]};
    }
    return is;
}

uint16_t inputs_supply_mv(void) {
    return supply_mv;
}

/* The first change is stamped; whether it holds is seen by the tick. */
ISR(PCINT1_vect) {
    uint8_t differs = (uint8_t)(PINS ^ levels);
    for (uint8_t i = 0; i < 2; i++) {
        uint8_t bit = (uint8_t)(1 << i);
        if ((differs & bit) && !(pending & bit)) {
            pending |= bit;
            held_ms[i] = 0;
            back_ms[i] = 0;
            edge_ms[i] = clock_ms(&edge_us[i]);
        }
    }
}

void inputs_tick(void) {
    uint8_t differs = (uint8_t)(PINS ^ levels);
    for (uint8_t i = 0; i < 2; i++) {
        uint8_t bit = (uint8_t)(1 << i);
        ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
            if (!(pending & bit)) {
                /* A level that differs for some ticks without an edge is that at reset. */
                held_ms[i] = (differs & bit) ? (uint8_t)(held_ms[i] + 1) : 0;
                if (held_ms[i] >= DEBOUNCE_MS) {
                    held_ms[i] = 0;
                    levels ^= bit;
                }
            } else if (!(differs & bit)) {
                /* Back again: bounce, or a glitch if it stays so. */
                held_ms[i] = 0;
                if (++back_ms[i] >= DEBOUNCE_MS) {
                    pending &= (uint8_t)~bit;
                }
            } else {
                back_ms[i] = 0;
                if (++held_ms[i] >= DEBOUNCE_MS) {
                    pending &= (uint8_t)~bit;
                    levels ^= bit;
                    uint8_t next = (uint8_t)((edge_head + 1) % EDGES);
                    if (next != edge_tail) {
                        edges[edge_head] = (struct edge){edge_ms[i], edge_us[i], i, (levels & bit) != 0};
                        edge_head = next;
                    }
                }
            }
        }
    }
}

bool inputs_level(uint8_t input) {
    return (levels >> input) & 1;
}

bool inputs_edge(struct edge *out) {
    if (edge_tail == edge_head) {
        return false;
    }
    *out = edges[edge_tail];
    edge_tail = (uint8_t)((edge_tail + 1) % EDGES);
    return true;
}

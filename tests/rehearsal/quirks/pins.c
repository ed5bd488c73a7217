/* Quirks of pins, and of the shift registers on the SPI. */
#include "marks.h"

TELLING_ISR(INT0_vect, 0)
TELLING_ISR(PCINT1_vect, 1)

/* SBI on PINB toggles one pin, OUT all that are ones. */
void toggle_one(void)
{
    DDRB = 0x3F, PORTB = 0x15;
    PINB |= _BV(0);
    PINB = 0x03;
}

/* A change shows in PINx one instruction late. */
void synchroniser(void)
{
    DDRB = 0x01;
    uint8_t one = 1, early, late;
    __asm__ volatile("out %2, %4\n in %0, %3\n in %1, %3" : "=&r"(early), "=&r"(late) : "I"(_SFR_IO_ADDR(PORTB)), "I"(_SFR_IO_ADDR(PINB)), "r"(one));
    TELL(early);
    TELL(late);
}

void pull_ups(void)
{
    for (;;) {
        PORTC = 0x05;
        NOP(), NOP();
        TELL(PINC);
        MCUCR |= _BV(PUD);
        NOP(), NOP();
        TELL(PINC);
        MCUCR &= (uint8_t)~_BV(PUD);
        PORTC = 0;
    }
}

/* INT0 on a falling D2, a pin change on A0. */
void outside(void)
{
    EICRA = _BV(ISC01), EIMSK = _BV(INT0), PCMSK1 = _BV(0), PCICR = _BV(PCIE1);
    sei();
    for (;;)
        GPIOR0 = 0;
}

static void spi_byte(uint8_t value)
{
    SPDR = value;
    while (!(SPSR & _BV(SPIF)))
        ;
    (void)SPDR;
}

/* Two registers, latch on D4: the last byte sent stands in the first. */
void chain(void)
{
    DDRD = _BV(4), DDRB = _BV(5) | _BV(3) | _BV(2), SPCR = _BV(SPE) | _BV(MSTR), SPSR = _BV(SPI2X);
    spi_byte(0x81), spi_byte(0x0F);
    PORTD = _BV(4), PORTD = 0;
    GPIOR1 = 1;
    spi_byte(0x81), spi_byte(0x1E);
    PORTD = _BV(4), PORTD = 0;
}

/* The same by hand. */
void chain_by_hand(void)
{
    DDRD = _BV(4), DDRB = _BV(5) | _BV(3);
    for (uint8_t i = 0; i < 16; i++) {
        if (0x810F & 0x8000 >> i)
            PORTB |= _BV(3);
        else
            PORTB &= (uint8_t)~_BV(3);
        PORTB |= _BV(5), PORTB &= (uint8_t)~_BV(5);
    }
    PORTD = _BV(4), PORTD = 0;
}

/* A byte takes eight bits of the chosen rate. */
void spi_time(void)
{
    DDRB = _BV(5) | _BV(3) | _BV(2), SPCR = _BV(SPE) | _BV(MSTR) | _BV(SPR1), TCCR1B = _BV(CS10);
    SPDR = 1, TCNT1 = 0;
    while (!(SPSR & _BV(SPIF)))
        ;
    uint16_t took = TCNT1;
    TELL(took >> 8);
    TELL((uint8_t)took);
}

/* A low SS that is an input ends master mode. */
void slave_select(void)
{
    DDRB = _BV(5) | _BV(3), SPCR = _BV(SPE) | _BV(MSTR);
    TELL(SPCR);
}

/* A motor on D9, 500 steps a second, by the compare hardware; D7 shows what A1, a switch, does. */
void joined(void)
{
    DDRB = _BV(1) | _BV(0), DDRD = _BV(7), PORTC = 0x07;
    OCR1A = 15999, TCCR1A = _BV(COM1A0), TCCR1B = _BV(WGM12) | _BV(CS10);
    for (;;) {
        if (PINC & _BV(1))
            PORTD = _BV(7);
        else
            PORTD = 0;
    }
}

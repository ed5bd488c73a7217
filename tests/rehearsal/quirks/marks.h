/* How a quirk program tells: it writes GPIOR0-2, which the rig logs with the cycle. Each program is one function, chosen with
   -DQUIRK=name, so that only its own code runs. */
#include <avr/interrupt.h>
#include <avr/io.h>

#define TELL(value) (GPIOR1 = (value)) /* a value read */
#define NOP() ({ __asm__ volatile("nop"); })
/* An interrupt that sets one bit of GPIOR0, in two cycles, and returns; it disturbs no register. */
#define TELLING_ISR(vector, bit) \
    ISR(vector, ISR_NAKED) { __asm__ volatile("sbi %0, %1\n\treti" ::"I"(_SFR_IO_ADDR(GPIOR0)), "I"(bit)); }

int main(void)
{
    void QUIRK(void);
    QUIRK();
    for (;;)
        ;
}

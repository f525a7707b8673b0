"""The arithmetic of the trade: sensors, cooling, electricity, refrigerants, food, uncertainty, what to check next.

Everything here is a pure function or a frozen data class. Nothing reads a clock, a file (other than the
package's own fault model, or one that is named) or the network, and nothing of the program above is imported.

Units, unless a name says otherwise: degrees Celsius, minutes, ohms, volts, amperes, kilopascals absolute.
Impossible input is `handsfree.errors.Trouble`, in one sentence. Heavy libraries are imported where they are used.
"""

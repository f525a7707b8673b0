"""The few number words of Spanish that stand outside its grammar of numbers."""

from handsfree.language.numerals import NumberWords

WORDS = NumberWords(
    digits=("cero", "uno", "dos", "tres", "cuatro", "cinco", "seis", "siete", "ocho", "nueve"),
    cardinal="cardinal",
    minus="menos",
    point="coma",
    decimal="coma",  # ICAO Annex 10 volume II gives 'decimal (coma)' for Spanish (from memory)
    with_fraction="y",
    fractions={"1/2": ("medio",), "1/4": ("un", "cuarto"), "3/4": ("tres", "cuartos")},
    capitals={"fahrenheit": "Fahrenheit", "celsius": "Celsius"},
    below=("{} bajo cero", "{} grados bajo cero"),
    likely={"seis": "tres", "tres": "seis"},
    decimal_sign=",",
    thousands_sign=".",
    per="por",
    power="elevado a",
)

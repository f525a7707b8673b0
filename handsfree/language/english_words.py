"""The few number words of English that stand outside its grammar of numbers."""

from handsfree.language.numerals import NumberWords

WORDS = NumberWords(
    digits=("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    cardinal="cardinal",
    minus="minus",
    point="point",
    decimal="decimal",  # ICAO Doc 9432
    with_fraction="and",
    fractions={"1/2": ("a", "half"), "1/4": ("a", "quarter"), "3/4": ("three", "quarters")},
    capitals={"fahrenheit": "Fahrenheit", "celsius": "Celsius", "f": "F", "c": "C", "i": "I"},
    below=("{} below", "{} degrees below", "{} below zero"),
    likely={"five": "nine", "nine": "five"},
)

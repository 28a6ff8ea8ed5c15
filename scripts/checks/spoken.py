"""Writes the table that TestNumbersAsSpoken reads: kind, words, value, and what
text2num reads in them (empty where it reads no single number), parted by tabs.

Integers and decimals are spoken by num2words; a fraction is its numerator
before the ordinal of its denominator, both spoken by num2words."""
import sys

from num2words import num2words
from text_to_num import alpha2digit, text2num


def peer(words):
    words = words.replace(",", "").replace(" and ", " ").replace("-", " ")
    for read in (text2num, alpha2digit):
        try:
            return repr(float(read(words, "en")))
        except ValueError:
            pass
    return ""


def row(kind, words, value):
    print(kind, words, repr(value), peer(words), sep="\t")


for n in range(10001):
    words = num2words(n)
    row("integer", words, n)
    bare = words.replace(",", "").replace(" and ", " ").replace("-", " ")
    if bare != words:
        row("integer without joints", bare, n)

for n in range(0, 101):
    for tenth in range(1, 10):
        row("decimal", num2words(round(n + tenth / 10, 1)), round(n + tenth / 10, 1))
for n in range(0, 21):
    for hundredth in range(1, 100):
        if hundredth % 10:
            row("decimal", num2words(round(n + hundredth / 100, 2)), round(n + hundredth / 100, 2))
for thousandth in range(1, 1000):
    if thousandth % 10:
        row("decimal", num2words(thousandth / 1000), thousandth / 1000)
for tenth in range(1, 10):  # said without its zero
    row("decimal", num2words(tenth / 10).removeprefix("zero "), tenth / 10)

# The denominators that measures and amounts are said in.
for below in (2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 16):
    for above in range(1, below):
        names = {num2words(below, to="ordinal")}
        if below == 2:
            names = {"half"}
        if below == 4:
            names.add("quarter")
        for name in sorted(names):
            words = num2words(above) + " " + name + ("s" if above > 1 else "")
            row("fraction", words, round(above / below, 6))
            row("fraction", words.replace(" ", "-"), round(above / below, 6))
            for n in (1, 2, 3, 10, 12, 21):
                row("mixed number", num2words(n) + " and " + words, round(n + above / below, 6))
                if above == 1:
                    row("mixed number", num2words(n) + " and a " + name, round(n + above / below, 6))
sys.stdout.flush()

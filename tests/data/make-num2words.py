"""Writes num2words.tsv: how a reference library spells numbers in English.

Run by hand, when the list is to be made anew:

    python3 -m venv VENV
    VENV/bin/pip install num2words==0.5.14
    VENV/bin/python make-num2words.py > num2words.tsv

Columns: kind, number, words. Hyphens and commas are taken out, as a recogniser
would.
"""

from decimal import Decimal

from num2words import num2words


def row(kind, number, words):
    print(kind, number, words.replace("-", " ").replace(",", ""), sep="\t")


print("# Made by make-num2words.py with PyPI num2words 0.5.14 (LGPL). Do not edit.")
for number in range(1000):
    words = num2words(number)
    row("cardinal", number, words)
    if " and " in words:
        row("cardinal_without_and", number, words.replace(" and ", " "))
for number in range(100, 1000):
    row("year", number, num2words(number, to="year"))
for tenths in range(900, 1110):
    number = Decimal(tenths) / 10
    row("decimal", f"{number:.1f}", num2words(number))
for number in range(1, 101):
    row("ordinal", number, num2words(number, to="ordinal"))

"""Words that head a row which was worked out from the rows above it."""

import re

# From memory, of languages in which such tables are kept; a word more asks once more, and one that
# is missing makes a reading of a mean.
SUMS = frozenset(
    word
    for words in (
        "mean average avg sum total median min max minimum maximum sd std stdev rsd count",
        "ø ⌀ ∅ x\u0304 x\u0305 µ μ σ ∑",  # the mean as a sign: a stroke through an o, a bar over x
        "mittelwert mittel mittelw durchschnitt schnitt summe gesamt stabw standardabweichung",
        "gemiddelde gemiddeld som totaal mediaan",
        "moyenne moyen moy somme médiane écart-type",
        "media promedio prom suma mediana desviación",
        "média soma desvio",
        "somma totale deviazione",
        "medelvärde medel summa snitt gennemsnit middelværdi gjennomsnitt middelverdi sum",
        "keskiarvo summa mediaani",
        "średnia srednia suma průměr prumer součet priemer súčet átlag összeg prosjek medie",
        "ortalama toplam среднее средняя сумма итого середнє сума μέσος σύνολο",
        "平均 平均值 合計 合计 평균 합계",
    )
    for word in words.casefold().split()
)
FIRST_WORD = re.compile(r"[^\s:.=(\[]+")


def is_worked_out(text: str) -> bool:
    """“Mean of 3”, “Mittelwert:”, “Ø”, “x̄ (3)”."""
    found = FIRST_WORD.match(text.strip().casefold())
    return found is not None and found[0] in SUMS

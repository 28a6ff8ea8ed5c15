"""Reads the denials of a file of the NegEx test kit with medspaCy and its ConText,
and prints one JSON object: rows, seconds of processor time, precision, recall, F1.

usage: denials.py load|bare FILE.tsv
load  the pipeline as medspacy.load() makes it: tokenizer, sentences, ConText
bare  spaCy's own tokenizer and ConText alone, each row one sentence: its fastest
The phrase is given, as it is to the product; loading is not timed."""
import json
import sys
import time

from loguru import logger

logger.remove()  # its sentence splitter logs every token
import medspacy
import spacy
from medspacy.context import ConText


def plain(cell):
    cell = cell.strip()
    if len(cell) > 1 and cell[0] == cell[-1] == '"':
        cell = cell[1:-1].replace('""', '"')
    return " ".join(cell.split())


def place(text, phrase):
    """Where the phrase stands: in capitals, else anywhere; as many of its words as are there."""
    words = phrase.split()
    while words:
        part = " ".join(words)
        at = text.find(part.upper())
        if at < 0:
            at = text.lower().find(part.lower())
        if at >= 0:
            return at, at + len(part)
        words.pop()
    return 0, 1


def main(how, name):
    if how == "load":
        nlp = medspacy.load()
        first, *rest = [pipe for pipe_name, pipe in nlp.pipeline if pipe_name != "medspacy_target_matcher"]
    else:
        nlp = spacy.blank("en")
        first, rest = None, [ConText(nlp)]
    rows = []
    with open(name, encoding="latin-1", newline="\n") as f:
        for line in f:
            cells = line.rstrip("\r\n").split("\t")
            text = plain(cells[2])
            rows.append((text, *place(text, plain(cells[1])), cells[3].strip() == "Negated"))
    counts = {(want, got): 0 for want in (True, False) for got in (True, False)}
    begin = time.process_time()
    for text, start, end, want in rows:
        doc = nlp.make_doc(text)
        if first:
            doc = first(doc)
        else:
            for token in doc:
                token.is_sent_start = token.i == 0
        doc.ents = [doc.char_span(start, end, label="PHRASE", alignment_mode="expand")]
        for pipe in rest:
            doc = pipe(doc)
        counts[want, bool(doc.ents[0]._.is_negated)] += 1
    seconds = time.process_time() - begin
    hit, false, missed = counts[True, True], counts[False, True], counts[True, False]
    print(json.dumps({"rows": len(rows), "seconds": seconds, "precision": hit / (hit + false), "recall": hit / (hit + missed),
                      "f1": 2 * hit / (2 * hit + false + missed)}))


main(*sys.argv[1:])

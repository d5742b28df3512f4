"""Recognition by an acoustic model of our own: trained for saw, wind and mask, it writes characters and nothing else.

The model (Whisper tiny.en's encoder, trained on; data/MODEL_CARD.md) gives for every 20 ms the probability of each
letter or of none. There is no language in it but what its training left: what can have been said comes from the
grammar alone. The grammar's word network is searched for the texts that those letters make likeliest; the best are
scored exactly, put together by what they mean, and one is accepted or asked about by how it compares with the letters
that fit best, with the next meaning, and with silence.

    features.py    sound -> log-mel spectrum
    model.py       spectrum -> log-probabilities of letters
    ctc.py         exact scores of texts, and which frames each word takes
    letters.py     words as letters, for the network of fieldaid.hearing.likelihood
    search.py      prefix beam search over that network
    alike.py       texts that sound nearly the same
    words.py       the likeliest row of any English words, the rival
    accept.py      the figures -> accepted or asked
    recogniser.py  all of it as a `Recogniser`
"""

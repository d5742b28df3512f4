"""Recognition by phrase likelihood: how well does the sound fit each phrase of the closed grammar?

A speech model (moonshine tiny, English) gives the probability of any text for a stretch of sound. This package asks it
only about texts that the grammar can say, and accepts the best of them by its figures: how far it falls behind
unrestricted text, how much better it fits this sound than noise, and how far it leads the next meaning.

The model's weights are 8 bit and its activations are scaled over all rows of a pass, so that one text's log-probability
differs by a few tenths of a nat with the company it is scored in; limits leave room for that.

    tokens.py      text -> the model's tokens
    model.py       the model's encoder and decoder
    written.py     how a spoken word or number may be written down by the model
    network.py     the grammar's word network -> tries of tokens, one per node, made when first met
    search.py      beam search over those tries
    prior.py       the likelihood of a text on noise alone
    meanings.py    rows put together by what they mean
    accept.py      the figures -> accepted or asked
    recogniser.py  all of it as a `Recogniser`
"""

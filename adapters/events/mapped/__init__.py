"""Mapped messages: what an owner's own convention means, as he describes it in the layout file.

    patterns   text with named parts: a topic, the text of a payload, a name
    members    the members of a JSON payload
    meanings   what a word, a number or a range of numbers means
    keys       the keys of the layout file
    message    one entry of `messages`, made ready: a channel and a payload to facts
    mapping    all entries of a source together

Nothing here knows of MQTT beyond the form of its topics: what comes in is a channel, bytes, and whether they are a
kept copy. So the same entries serve whatever else brings topics and payloads.
"""

"""LCC over TCP: text frames (`frames`), what we are among the nodes (`alias`, `node`), what they tell (`meaning`)."""

"""LCC over TCP: text frames (`frames`), who we are among the nodes (`alias`, `node`), and what they tell (`meaning`)."""

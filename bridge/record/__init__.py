"""The session log: what came in, what was decided and what was shown, and the proof that it comes out again."""

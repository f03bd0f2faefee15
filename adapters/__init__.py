"""Everything that speaks to the outside: event sources and frame outputs, behind one small contract."""

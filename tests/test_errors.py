from locbench.errors import LocbenchError


def test_the_sentence_is_one_printable_line_and_keeps_letters_of_any_script():
    error = LocbenchError("two\nlines \x1b[31m", where="a\rb/機器人.toml", received="é\n", remedy="Mend\u2028it")
    assert str(error) == r"a\rb/機器人.toml: two\nlines \x1b[31m (got 'é\n'). Mend\u2028it"

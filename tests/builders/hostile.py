"""Texts that try to be more than text: in HTML, in the PDF template's language, in plain text, in Unicode."""

from itertools import islice, product

_HTML = (
    "<script>alert(1)</script>",
    "</td></tr></table><img src=x onerror=alert(1)>",
    "\"'><svg/onload=alert(1)>",
    "]]></p><!-- -->",
    "&lt;b&gt; &amp; &#60;i&#62;",
    "</style><style>*{display:none}</style>",
    "<a href='javascript:alert(1)'>x</a>",
    "<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]>&e;",
    "<template><p>", "<plaintext>", "<textarea>", "</main></body></html>", "<base href=//x>", "<h1>", "<li><ul>",
)  # fmt: skip
_TEMPLATE = (
    "{{ 7 * 7 }}{% for x in y %}", "{# #}", "#{", "#read(\"/etc/passwd\")", "#import \"@preview/x:1.0.0\": *",
    "= Heading", "== Two", "- item", "+ item", "/ term: x", "$ x^2 $", "*bold* _it_", "`raw`", "```typ #x```",
    "<label>", "@ref", "#pagebreak()", "#[", "]", "\\", "\\u{1f600}", "#set page(width: 1pt)", "//x", "/* x", "*/", "~",
    "---", "...", "#panic()", "#while true {}", "https://x.example/<y>", "#link(\"x\")[y]", "\"", "#\"", "'", "[", "}",
    "\\#",
)  # fmt: skip
_TEXT = (
    "x\n\nFindings by station\n===================\n- Liver:\tnormal",
    "1. one\n2. two", "x:\ty", "*** Notice", "~~~~~~~~", "- x", "    x", "\tx", "x\r\ny\rz\u2028w",
)  # fmt: skip
_UNICODE = (
    "\u202egnp.exe\x00\x0b\ufeff", "\u2066x\u2069", "\u200b\u200d", "a\u0301\u0302\u0303", "中文", "שלום", "مرحبا",
    "😀👨‍👩‍👧", "\ue000\uf8ff", "\U0010ffff", "\ufffd", "\x7f\x80\x9f", "ﬁ", "\u00ad", "\u2029x", "𝒳", "İıſ", "\ud7ff",
)  # fmt: skip
SINGLE = (*_HTML, *_TEMPLATE, *_TEXT, *_UNICODE, "x" * 5000, "x " * 2000, "0.40 mm\u2060", "- - -", "<" * 500)
_MIXED = (first + second for first, second in product(_HTML, (*_TEMPLATE, *_UNICODE)))

HOSTILE = tuple(islice((*SINGLE, *_MIXED), 200))
"""Two hundred of them."""

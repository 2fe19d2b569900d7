# SPDX-License-Identifier: GPL-2.0-or-later
# Style and scripts of the pages as C: each file a list of its lines, ended by NULL (a string literal may be no longer than 4095 bytes).
# Lines that begin with // say what a file is for and stay out of the pages.
BEGIN { print "/* Made by src/report/page/embed.awk */\n#include <stddef.h>\n#include \"report/page.h\"" }
FNR == 1 {
    if (NR > 1) print "NULL};"
    name = FILENAME
    sub(/.*\//, "", name)
    sub(/\..*/, "", name)
    print (FILENAME ~ /css$/ ? "const char *const tt_page_" : "const char *const tt_script_") name "[] = {"
}
/^\/\// { next }
{
    gsub(/\\/, "&&")
    gsub(/"/, "\\\"")
    gsub(/\?/, "\\?") # no trigraphs
    print "\"" $0 "\\n\","
}
END { print "NULL};" }

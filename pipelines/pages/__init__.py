"""The web application: routes and forms. It asks `answers` and `work`, shows what they say, and computes no statistic.

**A page is a question and the state that answers it.** A route asks with a `PageQuestion` (`page_question.py`): a key,
how its `View` is made, the window it speaks of. `SiteNow` (`site_now.py`) works out the question's `State` from the
marks of the site: what works.toml says, the last file that touches the window, how many acknowledgements, decisions and
closes there are; while what follows from a file may not be worked out yet, or where there is no window, the ledger's
stamp. A kept page is right if and only if its state is the question's state now, and, of a live page, the clock has not
made it old. The state is what the ETag names, so a page is sent again only where its state is another; a process names
its tags anew.

**One grace** (`Desk._stands` in `made_pages.py`): while a flow is at work and 20 s after it, or after the page was last
right, the state last seen stands (its "as of" says so), and the page is made anew behind the reader's back; what
somebody writes by a page is seen at once. Before, five rules with a clock each said this. Pages that everybody opens
are made before they are asked for (`made_ahead.py`).

**One form** (`reports/frame/kept_page.py`): a page is kept as packed data with the marks of its making, by a flow
beside its HTML under reports/ and in memory alike; a flow's page is shown while its state is the question's (a day's
whatever came since, which it then says). Beside it lies what was written of it: HTML by language and order, workbooks.
Memory is bounded in bytes and number by cachetools' LRU by size, in which a page counts for at least its share. JSON
and not pickle: a file under reports/ must not be able to run anything, and pages of a version before are still read.
What differs between readers (name, form token) is put into the shared HTML last; forms are shown by the role's CSS
class and checked by the server.

**Forms** are data (`forms.py`) that one template shows. What a route cannot take it raises as `Mistakes`, by field; the
error's one handler asks `Web.forms` on which page that form stands, makes that page, puts in what was sent and each
mistake at its field (`again.py`), so that no route writes that twice. Enter presses a form's first button: where others
cannot be taken back, the first one looks and does nothing. A time that people write in an address is answered by the
address that keeps its meaning (`times_asked.py`), so that a kept page is never of another day.

**Live pages** (`refresh_s`) are made anew by the works' clock: those that name stations after 30 s, others after 60,
whether anything was written or not; while a flow runs behind the reader's back. What is late and how old the newest
count is (`pages/fresh.py`) is worked out at each answer from what the ledger last said, so that it goes on during a
commit; `/health` says the same. On a fast clock browsers ask again as much sooner.

**Nobody takes the pages away.** Health, sign-in and what is turned away have threads of their own (`Web.at_once`,
`quickly`, `Door`); pages are made two at once, at most eight asked for by one reader and 24 by all (`turns.py`), the
rest is answered 429. A try to sign in is counted before the password is looked at, by name and address together and
by address, each with a delay that doubles; a name that has signed in well from an address before (`doors` in the
books) does not wait for that address's guesses (`tries.py`). Two passwords are hashed at once. Beyond this computer
`gate.py` stands before every route. Commands and served parts write with a mask that leaves out everybody but the
account and its group (`site.keep_private`).

**The page's address holds everything**: order (`sort=table.column.desc`), window, defect, `wall=1`; `as=csv&table=…`
and `as=xlsx` are the same question in another form. A word that a page does not know, or cannot be, is answered with
400 and a sentence (`asked.py`), before any route. One script (`static/app.js`) puts changed parts in place, sorts
without a jump, copies; without it all still works.

**The application writes the ledger in its own process**: DuckDB refuses a writer while the process has it open to read,
so a writer holds the gate and waits until its readers have closed (`store.py`).

**Texts**: every sentence of a view is a message (`pipelines/words`), written in the reader's language with the HTML;
`tests/pages/test_pages_whole.py` finds those that are not. Numbers are written in the
works' way by `pipelines/numbers.py`, one way a process.
"""

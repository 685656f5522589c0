"""What the dashboards show: `python -m dashboards.build` writes site.json and fleet.json beside this file.

A panel is what it shows in a sentence, its queries and a unit; where it stands follows from the order. What is wanted
first stands on top.
"""

from pathlib import Path
from typing import Any, Final

from dashboards.grafana import BLUE, GREEN, GREY, ORANGE, VERMILION, Dashboard, Panel, Row, text

STATES: Final = ((1, "up", GREEN), (2, "impaired", ORANGE), (3, "down", VERMILION), (4, "unobserved", GREY))
CARRIES: Final = ((0, "stands by", GREY), (1, "carries", BLUE))
YES_IS_BAD: Final = ((0, "no", GREEN), (1, "yes", VERMILION))
YES_IS_GOOD: Final = ((0, "no", VERMILION), (1, "yes", GREEN))
VERDICTS: Final = ((-1, "undecided", GREY), (0, "breached", VERMILION), (1, "met", GREEN))

# Of a variable with one value Grafana does not escape what a pattern would take for its own, such as a bracket.
SITE, LINE = 'site="$site"', 'site="$site", uplink=~"$uplink"'
SITES, LINES = 'site=~"$site"', 'site=~"$site", uplink=~"$uplink"'


def state_of(matching: str) -> str:
    """The query that numbers the state of each line, as in STATES."""
    each = (f'(wanwatch_uplink_state{{{matching}, state="{word}"}} == 1) * {number}' for number, word, _ in STATES)
    return f"max by (site, uplink) ({' or '.join(each)})"


def verdicts(matching: str) -> str:
    """The query that numbers the verdict of each clause, as in VERDICTS: one that is open has a limit only."""
    met, limit = (f"max by (site, uplink, clause) (wanwatch_clause_{what}{{{matching}}})" for what in ("met", "limit"))
    return f"{met} or {limit} * 0 - 1"


def latest(title: str, says: str, query: str, legend: str, **more: Any) -> Panel:
    """A panel of numbers or words as they stand now."""
    return Panel(title, says, "stat", [(query, legend)], **{"width": 6, "height": 5} | more)


def over_time(title: str, says: str, *queries: tuple[str, str], **more: Any) -> Panel:
    """A panel of curves."""
    return Panel(title, says, "timeseries", queries, **more)


SITE_BOARD: Final = Dashboard(
    "site",
    "wanwatch: one site",
    variables=(("site", "label_values(wanwatch_uplink_state, site)", "one"),
               ("uplink", 'label_values(wanwatch_uplink_state{site="$site"}, uplink)', "many")),
    rows=(
        Row("Now", (
            latest("State", "What each line is at this moment.", state_of(LINE), "{{uplink}}", words=STATES),
            latest("Carrying", "Which line ordinary traffic takes; empty while nobody can tell.",
                   f"max by (uplink) (wanwatch_uplink_carrying{{{LINE}}})", "{{uplink}}", words=CARRIES),
            latest("Downtime", "How long each line was down in the chosen time.",
                   f"sum by (uplink) (increase(wanwatch_outage_seconds_total{{{LINE}}}[$__range]))", "{{uplink}}",
                   unit="s", bad_from=1, width=4),
            latest("Switches", "How often traffic moved in the chosen time, by kind.",
                   f"round(sum by (kind) (increase(wanwatch_switches_total{{{SITE}}}[$__range])))", "{{kind}}",
                   unit="none", width=4),
            latest("Cut off", "How long ordinary traffic got no answer around the switches in the chosen time.",
                   f"sum(increase(wanwatch_interruption_seconds_sum{{{SITE}}}[$__range]))", "", unit="s", bad_from=1,
                   width=4),
            Panel("State over time", "When each line was up, impaired, down or not seen.", "state-timeline",
                  [(state_of(LINE), "{{uplink}}")], words=STATES, width=24, height=6),
            Panel("Carrying over time", "When ordinary traffic took which line.", "state-timeline",
                  [(f"max by (uplink) (wanwatch_uplink_carrying{{{LINE}}})", "{{uplink}}")], words=CARRIES, width=24,
                  height=6),
        )),
        Row("$uplink", (
            over_time("Delay of $uplink", "Round-trip time to each target: median and 95th percentile over 5 minutes.",
                      (f"wanwatch:rtt_seconds:p50_rate5m{{{LINE}}}", "{{target}} median"),
                      (f"wanwatch:rtt_seconds:p95_rate5m{{{LINE}}}", "{{target}} p95"), unit="s"),
            over_time("Loss of $uplink", "Share of probes without an answer in time, to each target, over 5 minutes.",
                      (f"wanwatch:loss:ratio_rate5m{{{LINE}}}", "{{target}}"), unit="percentunit"),
            over_time("Jitter of $uplink", "How much round trips differ from one to the next (RFC 3550).",
                      (f"wanwatch_jitter_seconds{{{LINE}}}", "{{target}}"), unit="s", width=8),
            over_time("Calls over $uplink", "How a call would be rated, from 1 (bad) to 4.5 (ITU-T G.107).",
                      (f"wanwatch_voice_mos{{{LINE}}}", "mean opinion score"), width=8),
            over_time("Names over $uplink", "Questions to resolvers a second, by response code; `none` is silence.",
                      (f"sum by (resolver, rcode) (rate(wanwatch_names_answers_total{{{LINE}}}[$__rate_interval]))",
                       "{{resolver}} {{rcode}}"), unit="reqps", width=8),
        ), repeat="uplink"),
        Row("Outages and the contract", (
            over_time("Where it broke", "Share of the time that each line was down, by fault domain.",
                      (f"sum by (uplink, domain) (rate(wanwatch_outage_seconds_total{{{LINE}}}[$__rate_interval]))",
                       "{{uplink}} {{domain}}"), unit="percentunit"),
            over_time("Allowance burning", "How many times faster than the contract allows the line is down.",
                      (f"wanwatch:burn:rate1h{{{LINE}}}", "{{uplink}} over 1 h"),
                      (f"wanwatch:burn:rate6h{{{LINE}}}", "{{uplink}} over 6 h")),
            over_time("Allowed and used", "Downtime that the contract allows, and how much of it is used.",
                      (f"wanwatch_downtime_allowance_seconds{{{LINE}}}", "{{uplink}} allowed"),
                      ((f"wanwatch_downtime_allowance_seconds{{{LINE}}}"
                        f" - wanwatch_downtime_allowance_remaining_seconds{{{LINE}}}"), "{{uplink}} used"), unit="s"),
            latest("Allowance left", "Downtime that the contract still allows; less than nothing if it is overdrawn.",
                   f"wanwatch_downtime_allowance_remaining_seconds{{{LINE}}}", "{{uplink}}", unit="s", bad_below=0,
                   height=8),
            latest("Age of the accounts", "How long ago clauses and allowances were reckoned.",
                   f"time() - max by (site) (wanwatch_accounts_made_timestamp_seconds{{{SITE}}})", "", unit="s",
                   height=8),
            over_time("Speed", "What the last speed test measured in each direction.",
                      (f"wanwatch_speed_bits_per_second{{{LINE}}}", "{{uplink}} {{direction}}"), unit="bps"),
            over_time("Speed tests", "Speed tests of the last day, by how they ended.",
                      (f"round(sum by (uplink, outcome) (increase(wanwatch_speed_tests_total{{{LINE}}}[1d])))",
                       "{{uplink}} {{outcome}}")),
            Panel("Clauses over time", "What became of each clause of the contract: met, breached or undecided yet.",
                  "state-timeline", [(verdicts(LINE), "{{uplink}} {{clause}}")], words=VERDICTS, width=24),
            latest("Clauses so far", "What the figure of each clause has come to, in base units.",
                   f"wanwatch_clause_value{{{LINE}}}", "{{uplink}} {{clause}}", width=24),
        )),
        Row("Pages and resolvers", (
            over_time("Steps of a connection", "How long each step of the last fetch or connection took.",
                      (f"wanwatch_fetch_phase_seconds{{{LINE}}}", "{{uplink}} {{target}} {{phase}}"), unit="s"),
            latest("Certificates end in", "Time until each certificate that was seen is no longer valid.",
                   f"min by (target) (wanwatch_certificate_expiry_timestamp_seconds{{{LINE}}}) - time()", "{{target}}",
                   unit="s"),
            latest("IP version", "By which version of IP the last fetch was answered.",
                   f"wanwatch_fetch_ip_version{{{LINE}}}", "{{uplink}} {{target}}"),
            latest("Rewriting resolvers", "Whether a resolver invents addresses for names that do not exist.",
                   f"max by (uplink, resolver) (wanwatch_names_rewriting{{{LINE}}})", "{{uplink}} {{resolver}}",
                   words=YES_IS_BAD),
            latest("Differing names", "For how many names another resolver gave other addresses.",
                   f"wanwatch_names_differing{{{LINE}}}", "{{uplink}} {{resolver}}", bad_from=1),
            over_time("Lost by direction", "STAMP packets lost a second on the way there and on the way back.",
                      (f"rate(wanwatch_one_way_lost_total{{{LINE}}}[$__rate_interval])",
                       "{{uplink}} {{target}} {{direction}}"), unit="pps"),
        )),
        Row("The watching itself", (
            latest("Pins proved", "Whether each line's probes are proved to leave by it.",
                   f"min by (uplink) (wanwatch_pin_proved{{{LINE}}})", "{{uplink}}", words=YES_IS_GOOD),
            latest("Drill overdue", "Whether a failover drill that is asked for is overdue.",
                   f"max by (uplink) (wanwatch_drill_overdue{{{LINE}}})", "{{uplink}}", words=YES_IS_BAD),
            latest("Not observed", "How long nobody could see each line in the chosen time.",
                   f"sum by (uplink) (increase(wanwatch_unobserved_seconds_total{{{LINE}}}[$__range]))", "{{uplink}}",
                   unit="s"),
            latest("Version", "Which version of the program speaks.",
                   f"wanwatch_build_info * on (instance) group by (instance) (wanwatch_uplink_state{{{SITE}}})",
                   "{{version}}"),
            latest("Notices waiting", "How many notices wait to be sent.",
                   f"max by (site) (wanwatch_notices_pending{{{SITE}}})", "", unit="none", bad_from=5, width=12),
            latest("Sign of life", "How long ago the last sign of life was heard by whom it is sent to.",
                   f"time() - max by (site) (wanwatch_ping_timestamp_seconds{{{SITE}}})", "", unit="s", width=12),
            over_time("Data used", "What this program moves over each line, by purpose.",
                      (f"sum by (uplink, purpose) (rate(wanwatch_data_bytes_total{{{LINE}}}[$__rate_interval]))",
                       "{{uplink}} {{purpose}}"), unit="Bps"),
            over_time("Probes sent", "Probes that left a second, by uplink; `unpinned` is ordinary traffic.",
                      (f"sum by (uplink) (rate(wanwatch_probe_sent_total{{{SITE}}}[$__rate_interval]))", "{{uplink}}"),
                      unit="pps"),
            over_time("Receivers", "How far behind each receiver of the record is; two to three minutes are usual.",
                      (f"wanwatch_remote_write_lag_seconds{{{SITE}}}", "{{receiver}}"), unit="s"),
        )),
    ),
)  # fmt: skip

FLEET_BOARD: Final = Dashboard(
    "fleet",
    "wanwatch: all sites",
    variables=(("site", "label_values(wanwatch_uplink_state, site)", "many"),
               ("uplink", 'label_values(wanwatch_uplink_state{site=~"$site"}, uplink)', "many")),
    rows=(
        Row("What needs a hand", (
            latest("Lines down", "How many lines are down at this moment.",
                   f'sum(wanwatch_uplink_state{{{LINES}, state="down"}})', "", bad_from=1, width=5),
            latest("Sites cut off", "At how many sites no line carries ordinary traffic.",
                   f"count(max by (site) (wanwatch_uplink_carrying{{{SITES}}}) == 0) or vector(0)", "", bad_from=1,
                   width=5),
            latest("Daemons silent", "How many daemons cannot be read, whatever their lines are like.",
                   'count(up{job=~"wanwatch.*"} == 0) or vector(0)', "", bad_from=1, width=5),
            latest("Lines impaired", "How many lines are impaired at this moment.",
                   f'sum(wanwatch_uplink_state{{{LINES}, state="impaired"}})', "", bad_from=1, width=5),
            latest("Lines unseen", "Of how many lines nobody knows how they are.",
                   f'sum(wanwatch_uplink_state{{{LINES}, state="unobserved"}})', "", bad_from=1, width=4),
            Panel("Alerts", "Which alerts fire now.", "table",
                  [(f'ALERTS{{alertstate="firing", {SITES}}}', "")], width=24),
        )),
        Row("All lines", (
            Panel("State of all lines", "When each line of each site was up, impaired, down or not seen.",
                  "state-timeline", [(state_of(LINES), "{{site}} {{uplink}}")], words=STATES, width=24, height=14),
            Panel("Most downtime", "The twenty lines that were down longest in the chosen time.", "bargauge",
                  [(f"topk(20, sum by (site, uplink) (increase(wanwatch_outage_seconds_total{{{LINES}}}[$__range])))",
                    "{{site}} {{uplink}}")], unit="s"),
            Panel("Fastest burning", "The twenty lines that use up their contract's allowance fastest, over six hours.",
                  "bargauge", [(f"topk(20, wanwatch:burn:rate6h{{{LINES}}})", "{{site}} {{uplink}}")], bad_from=1),
            Panel("Most loss", "The twenty lines and targets that lose most, over 5 minutes.", "bargauge",
                  [(f"topk(20, wanwatch:loss:ratio_rate5m{{{LINES}}})", "{{site}} {{uplink}} {{target}}")],
                  unit="percentunit"),
            Panel("Worst calls", "The twenty lines over which a call would be rated worst.", "bargauge",
                  [(f"bottomk(20, wanwatch_voice_mos{{{LINES}}})", "{{site}} {{uplink}}")]),
        )),
        Row("Contracts", (
            latest("Clauses breached", "How many clauses are breached, whatever the month may still bring.",
                   f"count(wanwatch_clause_met{{{LINES}}} == 0) or vector(0)", "", bad_from=1),
            latest("Oldest accounts", "How long ago the clauses of any site were last reckoned.",
                   f"time() - min(wanwatch_accounts_made_timestamp_seconds{{{SITES}}})", "", unit="s"),
            Panel("Least allowance left", "The twenty lines whose contract allows the least further downtime.",
                  "bargauge", [(f"bottomk(20, wanwatch_downtime_allowance_remaining_seconds{{{LINES}}})",
                                "{{site}} {{uplink}}")], unit="s", bad_below=0),
        )),
        Row("Together", (
            over_time("Lines down over time", "How many lines of each site were down.",
                      (f"wanwatch:lines_down:count{{{SITES}}}", "{{site}}")),
            over_time("Where lines broke", "How many lines were down at a time, by fault domain.",
                      (f"sum by (domain) (rate(wanwatch_outage_seconds_total{{{LINES}}}[$__rate_interval]))",
                       "{{domain}}")),
            over_time("Failing names", "Share of questions to resolvers that failed or got no answer, by line.",
                      (f"wanwatch:names_failing:ratio_rate5m{{{LINES}}}", "{{site}} {{uplink}}"), unit="percentunit"),
            over_time("Data used", "What this program moves at each site.",
                      (f"sum by (site) (rate(wanwatch_data_bytes_total{{{LINES}}}[$__rate_interval]))", "{{site}}"),
                      unit="Bps"),
            latest("Drills overdue", "For how many lines a failover drill is overdue.",
                   f"sum(wanwatch_drill_overdue{{{LINES}}})", "", bad_from=1),
            latest("Pins lost", "Of how many lines the probes leave by another line.",
                   f"count(wanwatch_pin_proved{{{LINES}}} == 0) or vector(0)", "", bad_from=1),
            latest("Receivers behind", "How many receivers of a record lack more than four minutes of it.",
                   f"count(wanwatch_remote_write_lag_seconds{{{SITES}}} > 240) or vector(0)", "", bad_from=1),
            latest("Daemons", "How many daemons are read, by version.", "count by (version) (wanwatch_build_info)",
                   "{{version}}"),
        )),
    ),
)  # fmt: skip

BOARDS: Final = (SITE_BOARD, FLEET_BOARD)


if __name__ == "__main__":
    for one in BOARDS:
        Path(__file__).with_name(f"{one.name}.json").write_text(text(one), "utf-8")

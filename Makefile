# `make demo` and `make test` do everything on a machine that has never seen
# this project; the other targets are their parts.

# After set-up nothing is fetched, and the lock file is the law.
CARGO_FLAGS = --locked --offline
DEMO = ./target/release/sayback rehearse audio-fixtures/demo-round.script

# The steps of a target depend on the one before, whatever -j says.
.NOTPARALLEL:
.PHONY: help setup setup-test build demo lint test figures streams reliability home-scale fuzz release bench-engines bench-hearing adapt check-offline lint-deps clean distclean

help: ## Show this list
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/  make \1\t\2/p' Makefile | expand -t 24

setup: ## Install what building and running need (a second run only checks)
	@setup/setup.sh

setup-test: ## The same, and what the tests need
	@setup/setup.sh --test

build: setup ## Build the release program
	cargo build --release $(CARGO_FLAGS)

demo: build ## Set up, build, and hear a round rehearsed
	$(DEMO)

# What is built from nothing in one go is not built on later: leaving out what that would
# need saves a fifth of the processor time for our own crate (208 s for 257 s).
ifeq ($(wildcard target/debug),)
export CARGO_INCREMENTAL = 0
endif

lint: setup-test ## Check the formatting and run clippy
	cargo fmt --check
	cargo clippy $(CARGO_FLAGS) --all-targets -- -D warnings

# What hears keeps one core busy, and what waits for browsers, sound and other
# processes leaves the other idle: so the two go side by side, with some more beside
# what hears, for both to end at about the same time. Three side by side leave too little
# to a live round. Examples are left to clippy.
ALL_TESTS = $(basename $(notdir $(wildcard tests/*.rs))) $(notdir $(patsubst %/main.rs,%,$(wildcard tests/*/main.rs)))
HEARING_TESTS = hour human_speech hearing_floor hearing_gate hearing_palpated hearing_wav hearing_words spoken_rounds truthful fuzz_seeds
BESIDE_TESTS = $(HEARING_TESTS) fhir_server fhir_valid store vault cli
OTHER_TESTS = $(sort $(filter-out $(BESIDE_TESTS),$(ALL_TESTS)))

test: lint ## Set up, lint, and run every test
	cargo test $(CARGO_FLAGS) --no-run --lib --bins --tests
	@mkdir -p target/tmp
	@cargo test $(CARGO_FLAGS) $(BESIDE_TESTS:%=--test %) > target/tmp/tests-beside.log 2>&1 & beside=$$!; \
	cargo test $(CARGO_FLAGS) --lib --bins $(OTHER_TESTS:%=--test %); other=$$?; \
	wait $$beside; beside=$$?; cat target/tmp/tests-beside.log; exit $$((other + beside))

figures: setup-test ## Measure and print the table of docs/figures.md (on a machine at rest)
	cargo build --release --example figures $(CARGO_FLAGS)
	taskset -c 0 ./target/release/examples/figures

streams: build setup-test ## Measure how many live streams one core carries (on a machine at rest)
	cargo build --release --example streams $(CARGO_FLAGS)
	taskset -c 0 ./target/release/examples/streams

reliability: setup-test ## Print the figures of docs/reliability.md (minutes)
	SAYBACK_TEST_KILLS=200 cargo test $(CARGO_FLAGS) --test store -- --nocapture --test-threads 1 2>&1 | grep -o 'figure: .*'
	cargo test $(CARGO_FLAGS) --test review each_role -- --nocapture 2>&1 | grep -o 'figure: .*'
	cargo build --release --example figures $(CARGO_FLAGS)
	./target/release/examples/figures appends

home-scale: setup-test ## Print the figures of docs/home-scale.md (HOME_SCALE="homes 100"; all of it takes the better part of an hour)
	cargo build --release --example home_scale $(CARGO_FLAGS)
	./target/release/examples/home_scale $(HOME_SCALE)

fuzz: setup ## Fuzz every way in, a minute each (SECONDS_EACH=n, TARGETS="wav form")
	@setup/packages.sh fuzz
	fuzz/run.sh $(TARGETS)

bench-engines: setup-test ## Install the voices and recognisers that only the speech bench uses
	apt-get install -y festival festvox-kallpc16k
	python3 -m venv out/bench/engines
	out/bench/engines/bin/pip install --quiet -r examples/bench_hearing/engines.txt
	setup/bench-voices.sh

# PEOPLE=DIR is a folder of people's spoken digits (docs/hearing.md); without it
# that part is reported as absent.
bench-hearing: setup-test ## Measure how well it hears, beside other recognisers (after bench-engines)
	cargo build --example bench_hearing $(CARGO_FLAGS)
	./target/debug/examples/bench_hearing --split test $(if $(PEOPLE),--people $(PEOPLE)) $(BENCH)

adapt: bench-engines ## Teach the network to hear through noise anew, with PEOPLE=DIR as well (two hours)
	cargo build --release --example adapt $(CARGO_FLAGS)
	examples/adapt/run.sh $(PEOPLE)

release: setup ## Build out/sayback-VERSION-x86_64-linux.tar.gz, and try it elsewhere
	dist/release.sh
	dist/try-release.sh out/sayback-*-x86_64-linux.tar.gz

check-offline: build ## Run the demo where there is no network at all
	unshare --map-root-user --net $(DEMO)

lint-deps: ## Check the licences and sources of the crates with cargo-deny
	@cargo deny --version >/dev/null 2>&1 || { \
		echo "cargo-deny is missing; run: cargo install cargo-deny --locked" >&2; exit 1; }
	cargo deny --offline --locked check licenses bans sources

clean: ## Remove what was built
	cargo clean

distclean: clean ## Remove the fetched library and model too
	rm -rf assets

//! `completions` and `man`: the command line explained to shells and to `man`.

use clap::CommandFactory;

use super::{Exit, Failure, Outcome, Program};

#[derive(clap::Args, Debug)]
pub struct CompletionArgs {
    /// The shell
    shell: clap_complete::Shell,
}

pub fn completions(args: &CompletionArgs) -> Outcome {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Program::command(), "bladewright", &mut script);
    super::files::Target::Stdout.put(&script).map(|()| Exit::Done)
}

pub fn man() -> Outcome {
    let mut page = Vec::new();
    clap_mangen::Man::new(Program::command()).render(&mut page).map_err(Failure::failed)?;
    super::files::Target::Stdout.put(&page).map(|()| Exit::Done)
}

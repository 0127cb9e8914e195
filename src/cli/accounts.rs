//! The accounts of the nurse's station, from the machine it is on.

use std::path::PathBuf;

use clap::Subcommand;
use sayback::review::Station;
use sayback::review::accounts::{FIRST, Role};

use super::commands::{Message, message};
use super::{End, vault};

#[derive(Subcommand)]
pub enum AccountsCommand {
    /// Give an administrator who lost the password a new one-time code
    ///
    /// For whoever can read the key of the accounts. The code is good for three
    /// days and one sign-in, and is not shown again; the log of the accounts says
    /// that it was made. The password of before is good no more.
    ResetAdmin {
        /// The record (or link file) that the accounts are beside
        #[arg(long, default_value = "record.db")]
        store: PathBuf,
        /// Whose: a sign-in name
        #[arg(long, default_value = FIRST)]
        login: String,
    },
}

pub fn accounts(command: AccountsCommand) -> Result<End, Message> {
    let AccountsCommand::ResetAdmin { store, login } = command;
    let file = store.with_file_name("accounts.db");
    if !file.exists() {
        return Err(format!(
            "there are no accounts in {}; `sayback serve` makes them at its first start",
            file.display()
        ));
    }
    let (accounts, _) = Station::accounts_with(&store, vault::used()?).map_err(message)?;
    let users = accounts.users().map_err(message)?;
    let mut administrators = users.iter().filter(|it| it.role == Role::Administrator);
    if !administrators.clone().any(|it| it.login == login) {
        let names: Vec<&str> = administrators.by_ref().map(|it| &*it.login).collect();
        return Err(format!(
            "\"{login}\" is no administrator; --login takes {}",
            names.join(" or ")
        ));
    }
    let now = chrono::Local::now().fixed_offset();
    let said = format!("a new one-time code for {login}, made on the machine itself");
    accounts.must_log(now, &login, &said).map_err(message)?;
    let code = accounts.renew(&login, now).map_err(message)?;
    accounts.set_active(&login, true).map_err(message)?;
    anstream::println!(
        "Sign in as \"{login}\" with this one-time code; it is not shown again:\n\n    {code}\n"
    );
    Ok(End::Done)
}

// Words around the login, in the languages of the page.
const en = { logout: "Log out", password: "Change password", passkeys: "Passkeys", people: "Who may log in" };
const es: typeof en = { logout: "Salir", password: "Cambiar contraseña", passkeys: "Llaves de acceso", people: "Quién puede entrar" };

export function login(language: string): typeof en {
  return language === "English" ? en : es;
}

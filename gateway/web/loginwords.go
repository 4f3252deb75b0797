package web

import (
	"fmt"
	"time"

	"millwarden/gateway/people"
)

// loginWords are the words of the pages around the login in one language.
type loginWords struct {
	Lang                                                                                                      string
	Login, Name, Password, NewPassword, Code, HaveCode, CodeField, Set, Advice, LinksWork, Page               string
	FirstStart, FirstSays, FirstHint, FirstOwner, CodeSays                                                    string
	Wrong, WrongCode, Wait, Busy, Short, Long, Common, Broken                                                 string
	People, PeopleSays, GiveCode, EndSessions, Remove, CodeOf, HandOver, Ended, Removed, NotSelf, NotInRules  string
	Trust, TrustHint, TrustSays, Download, Compare, OnAndroid, OnIPhone, OnComputer, TrustAfter, NoRoot       string
	Passkeys, PasskeySays, PasskeyNeeds, PasskeyNone, PasskeyAdd, PasskeyLogin, PasskeyRemove, PasskeyRemoved string
	PasskeyFailed, PasskeyWrong, PasskeyFull, PasskeySince, PasskeyUsed, PasskeyCount                         string
	No, Since, CodeUntil, Sessions                                                                            string
	Roles                                                                                                     map[string]string
}

func (w loginWords) wait(seconds int) string { return fmt.Sprintf(w.Wait, seconds) }

// stands says how it is with one login.
func (w loginWords) stands(l people.Login, zone *time.Location) string {
	says := w.No
	if l.Password {
		says = fmt.Sprintf(w.Since, l.Changed.In(zone).Format("2006-01-02")) + ", " + fmt.Sprintf(w.Sessions, l.Sessions)
	}
	if l.Passkeys > 0 {
		says += ", " + fmt.Sprintf(w.PasskeyCount, l.Passkeys)
	}
	if !l.Code.IsZero() {
		says += ", " + fmt.Sprintf(w.CodeUntil, l.Code.In(zone).Format("2006-01-02 15:04"))
	}
	return says
}

var loginLanguages = map[string]loginWords{
	"en": {
		Lang: "en", Login: "Log in", Name: "Name", Password: "Password", NewPassword: "New password", Code: "Set a password with a code",
		HaveCode: "I was given a code", CodeField: "Code", Set: "Set password and log in", Page: "To the page of the mill",
		Advice:     "At least 8 characters; better a few words, 15 or more. Nothing else is asked of it.",
		LinksWork:  "The link in a message answers it without logging in.",
		FirstStart: "First start", FirstSays: "Nobody can log in yet. The program printed a code when it started. Type it here, with the name of an owner as the rules file has it.",
		FirstHint:  "Nobody can log in yet. The program printed a code when it started.",
		FirstOwner: "The first to log in is an owner. Write in the rules file, in the block of a person: rights owner",
		CodeSays:   "Somebody gave you a code. It works once, for a day.",
		Wrong:      "Name or password is wrong.", WrongCode: "This code is not in force for this name.",
		Wait: "Too many wrong tries. Wait %d s, then try again. Links in messages work all the same.", Busy: "Too many people log in at once. Try again in a moment.",
		Short: "A password needs at least 8 characters.", Long: "A password has at most 256 characters.",
		Common: "This password is among those that are guessed first. Take a few words that do not belong together.",
		Broken: "That could not be written down. Try again, and tell the technician.",
		People: "Who may log in", PeopleSays: "Who works here, and with which rights, stands in the rules file. Here you say who can log in.",
		GiveCode: "Give a code", EndSessions: "Log out everywhere", Remove: "Take the login away", CodeOf: "Code for",
		HandOver: "Give it to the person alone. It is shown only now, works once, and for a day.",
		Ended:    "Logged out everywhere.", Removed: "The login is taken away.", NotSelf: "Nobody takes the own login away: another owner does.",
		NotInRules: "not in the rules file: lets nobody in", No: "cannot log in", Since: "password since %s", CodeUntil: "code until %s", Sessions: "logged in on %d devices",
		Passkeys: "Passkeys", PasskeySays: "A passkey logs you in with this device's finger, face or PIN in place of the password. It is of use to nobody without the device, and for no other page.",
		PasskeyNeeds: "A browser keeps passkeys only for a page that it trusts, under its name and not its address. A new password by a code takes them away; your password stays beside them.",
		PasskeyNone:  "Passkeys need a name of the page in the rules file (page, name) and a certificate that the device trusts. Until then the password does.",
		PasskeyAdd:   "Add a passkey of this device", PasskeyLogin: "Log in with a passkey", PasskeyRemove: "Remove", PasskeyRemoved: "The passkey is removed here. Delete it on the device too.",
		PasskeyFailed: "Nothing came of it on this device. The password still does.", PasskeyWrong: "This passkey is not accepted. Begin again, or take the password.",
		PasskeyFull: "You have ten passkeys. Remove one first.", PasskeySince: "Passkey since", PasskeyUsed: "last used", PasskeyCount: "%d passkeys",
		Trust: "Make this device trust the page", TrustHint: "The browser warns of this page?",
		TrustSays: "This page shows a certificate that the estate made itself. A device that has installed the estate's root opens it without a warning, and warns if somebody else pretends to be this page. The root counts for the names of this gateway alone.",
		Download:  "The estate's root", Compare: "Before you trust it, compare this fingerprint (SHA-256) with the one that the technician has on paper:",
		OnAndroid: "Android: open the file; or Settings, Security, Encryption and credentials, Install a certificate, CA certificate.", OnIPhone: "iPhone and iPad: open the file in Safari; Settings, Profile downloaded, Install; then General, About, Certificate trust settings, and switch it on.",
		OnComputer: "Computer: import the file among the authorities in the browser's settings for certificates.",
		TrustAfter: "These ways are from memory and change with each version. Then open the page anew.", NoRoot: "The certificate of this page is not of the estate's own making, or there is none. Nothing is to be installed.",
		Roles: map[string]string{"owner": "owner", "technician": "technician", "crew": "crew", "reader": "reader (wall screen)", "auditor": "auditor"},
	},
	"es": {
		Lang: "es", Login: "Entrar", Name: "Nombre", Password: "Contraseña", NewPassword: "Contraseña nueva", Code: "Poner contraseña con un código",
		HaveCode: "Me dieron un código", CodeField: "Código", Set: "Poner contraseña y entrar", Page: "A la página del beneficio",
		Advice:     "Al menos 8 caracteres; mejor unas cuantas palabras, 15 o más. No se pide nada más.",
		LinksWork:  "El enlace de un mensaje lo contesta sin entrar.",
		FirstStart: "Primer arranque", FirstSays: "Todavía nadie puede entrar. El programa mostró un código al arrancar. Escríbalo aquí, con el nombre de un dueño como está en el archivo de reglas.",
		FirstHint:  "Todavía nadie puede entrar. El programa mostró un código al arrancar.",
		FirstOwner: "El primero en entrar es un dueño. Escriba en el archivo de reglas, en el bloque de una persona: rights owner",
		CodeSays:   "Alguien le dio un código. Sirve una vez, por un día.",
		Wrong:      "El nombre o la contraseña no es correcto.", WrongCode: "Este código no vale para este nombre.",
		Wait: "Demasiados intentos. Espere %d s y pruebe otra vez. Los enlaces de los mensajes funcionan igual.", Busy: "Demasiadas personas entran a la vez. Pruebe dentro de poco.",
		Short: "La contraseña necesita al menos 8 caracteres.", Long: "La contraseña tiene a lo sumo 256 caracteres.",
		Common: "Esta contraseña es de las primeras que se adivinan. Tome unas palabras que no van juntas.",
		Broken: "No se pudo anotar. Pruebe otra vez y avise al técnico.",
		People: "Quién puede entrar", PeopleSays: "Quién trabaja aquí y con qué derechos está en el archivo de reglas. Aquí se dice quién puede entrar.",
		GiveCode: "Dar un código", EndSessions: "Cerrar en todas partes", Remove: "Quitar la entrada", CodeOf: "Código para",
		HandOver: "Déselo solo a esa persona. Se muestra solo ahora, sirve una vez y por un día.",
		Ended:    "Cerrado en todas partes.", Removed: "Ya no puede entrar.", NotSelf: "Nadie se quita la propia entrada: lo hace otro dueño.",
		NotInRules: "no está en el archivo de reglas: no deja entrar a nadie", No: "no puede entrar", Since: "contraseña desde %s", CodeUntil: "código hasta %s", Sessions: "abierto en %d aparatos",
		Passkeys: "Llaves de acceso", PasskeySays: "Con una llave de acceso entra con el dedo, la cara o el PIN de este aparato en vez de la contraseña. No le sirve a nadie sin el aparato, ni para otra página.",
		PasskeyNeeds: "El navegador guarda llaves solo para una página en la que confía, por su nombre y no por su dirección. Una contraseña nueva por código las quita; su contraseña sigue valiendo al lado.",
		PasskeyNone:  "Las llaves de acceso necesitan un nombre de la página en el archivo de reglas (page, name) y un certificado en el que el aparato confía. Hasta entonces vale la contraseña.",
		PasskeyAdd:   "Agregar una llave de este aparato", PasskeyLogin: "Entrar con una llave de acceso", PasskeyRemove: "Quitar", PasskeyRemoved: "La llave ya no vale aquí. Bórrela también en el aparato.",
		PasskeyFailed: "En este aparato no se logró. La contraseña sigue valiendo.", PasskeyWrong: "Esta llave no se acepta. Empiece de nuevo o use la contraseña.",
		PasskeyFull: "Ya tiene diez llaves. Quite una primero.", PasskeySince: "Llave desde", PasskeyUsed: "usada", PasskeyCount: "%d llaves",
		Trust: "Que este aparato confíe en la página", TrustHint: "¿El navegador advierte de esta página?",
		TrustSays: "Esta página muestra un certificado hecho en la finca. Un aparato que ha instalado la raíz de la finca la abre sin advertencia, y advierte si otro se hace pasar por ella. La raíz vale solo para los nombres de este equipo.",
		Download:  "La raíz de la finca", Compare: "Antes de confiar, compare esta huella (SHA-256) con la que el técnico tiene en papel:",
		OnAndroid: "Android: abra el archivo; o Ajustes, Seguridad, Cifrado y credenciales, Instalar un certificado, Certificado de CA.", OnIPhone: "iPhone y iPad: abra el archivo en Safari; Ajustes, Perfil descargado, Instalar; luego General, Información, Ajustes de confianza de los certificados, y actívelo.",
		OnComputer: "Computadora: importe el archivo entre las autoridades, en los ajustes de certificados del navegador.",
		TrustAfter: "Estos caminos son de memoria y cambian con cada versión. Después abra la página de nuevo.", NoRoot: "El certificado de esta página no lo hizo la finca, o no hay ninguno. No hay nada que instalar.",
		Roles: map[string]string{"owner": "dueño", "technician": "técnico", "crew": "cuadrilla", "reader": "lector (pantalla de pared)", "auditor": "auditor"},
	},
}

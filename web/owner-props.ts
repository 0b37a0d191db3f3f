/** What the pages are given that only the owner sees, and those on the way in: see props.ts. */
import type { FrameProps, MomentProps } from './props.ts';

/** A form that acts: where it is sent, and the token that shows that it came from here. */
export interface FormProps {
  readonly action: string;
  readonly token: string;
}

export interface OwnerProps {
  readonly signOut: FormProps;
  /** Address of the page where channels are tested. */
  readonly channels: string;
}

/** One note of the owner's. */
export interface OwnerNoteProps {
  readonly at: MomentProps;
  readonly lines: readonly string[];
}

export interface SignInPageProps {
  readonly icon: string;
  readonly styleHref: string;
  readonly action: string;
  /** The path where one wanted to go. */
  readonly to: string;
  /** Its address. */
  readonly onwards: string;
  /** What was wrong with the last attempt. */
  readonly wrong: string | null;
}

export interface RefusedPageProps {
  readonly icon: string;
  readonly styleHref: string;
  readonly title: string;
  readonly what: string;
  readonly signIn: string;
}

export interface ChannelProps {
  readonly name: string;
  /** As it is configured: what the form sends. */
  readonly value: string;
  readonly remarks: readonly string[];
  /** What came of the last test; null: there was none since the start. */
  readonly tested: {
    readonly at: MomentProps;
    readonly what: string;
    readonly isGood: boolean;
  } | null;
  /** Null: nobody is signed in who may test it. */
  readonly test: FormProps | null;
}

export interface ChannelsPageProps {
  readonly frame: FrameProps;
  readonly now: MomentProps;
  readonly channels: readonly ChannelProps[];
}
